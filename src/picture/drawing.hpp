// What the pictures share: signs and colours of spots, axes, quantities in words.
#pragma once

#include <string>

#include "draw/pixel_canvas.hpp"
#include "picture/palette.hpp"
#include "picture/picture.hpp"
#include "ripplegauge/core/reading.hpp"
#include "words/wording.hpp"

namespace ripplegauge::picture_detail {

using namespace draw;

/// Round steps of 1, 2 or 5 times a power of ten, about `count` of them.
double round_step(double span, int count);
/// A number on an axis with that step, with the decimals that the step needs.
std::string tick_text(double value, double step);

/// Inches where they are asked for, else millimetres, and micrometres where the largest height is below
/// `least_mm`.
AxisUnit height_unit(double largest_mm, double least_mm, const Wording& words);

/// Colour and line of a kind: lows solid, highs dashed.
const Rgb& colour_of(Kind kind);
void set_dashes(cairo_t* cairo, Kind kind, double line_width);

/// The sign of a spot: its number in a disc (low) or a diamond (high), about 1.6 sizes wide.
void draw_badge(PixelCanvas& canvas, int number, Kind kind, double x, double y, double size);

/// "22.4 mm (21.9 to 22.9)", with as many decimals as the interval deserves; "not known" for NaN.
std::string with_interval(const Quantity& quantity, const char* unit,
                          const Wording& words = Wording::plain());
/// The value alone, with the same decimals.
std::string without_interval(const Quantity& quantity, const char* unit,
                             const Wording& words = Wording::plain());

/// The diameter, of a crease length and width, without intervals; in the units of the reader.
std::string size_in_short(const Dent& dent, const Wording& words);
/// "low 0.168 mm"; the kind alone where the depth is not known; in the units of the reader.
std::string kind_and_depth(const Dent& dent, const Wording& words);

}  // namespace ripplegauge::picture_detail
