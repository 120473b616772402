// Text in drawings, of any script: Pango shapes it and finds other fonts for what the first one lacks. Digits
// that no font of the machine has are drawn as 0 to 9. Sizes and places are in the units of the drawing.
#pragma once

#include <cairo.h>

#include <string>
#include <string_view>
#include <vector>

#include "draw/colour.hpp"

namespace ripplegauge::draw {

enum class Align { left, centre, right };

struct TextStyle {
  double size = 12;  ///< the font's; a capital is about 0.73 of it high
  Rgb colour = rgb_from_hex(0x222222);
  Align align = Align::left;
  bool bold = false;
};

/// Draws one line with its baseline at y; x is its left end, middle or right end. What cannot be shown, such
/// as control characters and stray bytes, becomes U+FFFD.
void show_text(cairo_t* cairo, const std::string& text, double x, double y, const TextStyle& style);
double text_width(std::string_view text, const TextStyle& style);

/// The text shortened to the width, at a character's boundary.
std::string fitted(std::string text, const TextStyle& style, double width);

/// The text in lines of at most that width; a word wider than a line is cut.
std::vector<std::string> lines_of(const std::string& text, const TextStyle& style, double width);

/// The same in at most `max_lines`: the last of them is shortened to fit, and so is what is wider than a
/// line.
std::vector<std::string> lines_of(const std::string& text, const TextStyle& style, double width,
                                  std::size_t max_lines);

/// Where a text starts, from x on, as a share of its width: 0, -0.5, -1.
double shift_of(Align align);

}  // namespace ripplegauge::draw
