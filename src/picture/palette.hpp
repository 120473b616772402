// The colours of every picture, in one place, so that a low looks the same on photo, map and chart.
#pragma once

#include <array>

#include "draw/colour.hpp"

namespace ripplegauge {

namespace palette {

/// Blue and orange stay apart for every common kind of colour blindness. Lines say it again: lows are drawn
/// solid, highs dashed. Both are dark enough for white text (7.3 and 5.6 to 1).
constexpr Rgb low = rgb_from_hex(0x00589c), high = rgb_from_hex(0xb3450b);
constexpr Rgb ink = rgb_from_hex(0x222222), grey = rgb_from_hex(0x666666), grid = rgb_from_hex(0xdddddd),
              paper = rgb_from_hex(0xffffff);
constexpr Rgb good = rgb_from_hex(0x1e6b3c), warning = rgb_from_hex(0x8a1f1f);

/// Lines of a chart, told apart by the colour-blind too (Okabe and Ito, Color Universal Design, 2008); yellow
/// is left out, it does not show on white.
constexpr std::array<Rgb, 6> lines = {rgb_from_hex(0x0072b2), rgb_from_hex(0xd55e00), rgb_from_hex(0x009e73),
                                      rgb_from_hex(0xcc79a7), rgb_from_hex(0xe69f00), rgb_from_hex(0x56b4e9)};

}  // namespace palette

/// Colour of a height as a share of the map's range: -1 dark blue, 0 nearly white, +1 dark orange. Darker
/// means further from zero on either side, so that a print without colour still shows how much.
Rgb height_colour(double share);

/// Relative luminance and contrast ratio, 1..21 (W3C, Web Content Accessibility Guidelines 2.x). Text
/// needs 4.5.
double relative_luminance(const Rgb& colour);
double contrast_ratio(const Rgb& a, const Rgb& b);

}  // namespace ripplegauge
