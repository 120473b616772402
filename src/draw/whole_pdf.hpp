// Whether a PDF file holds all that it speaks of.
#pragma once

#include <string_view>

namespace ripplegauge::draw {

/// Cairo leaves out fonts and more where memory runs out, and calls that a success. Looks at the table of
/// objects (ISO 32000-1, 7.5.4): each stands whole where the table says. Files that keep this table in a
/// stream pass by their end alone.
bool is_whole_pdf(std::string_view pdf);

}  // namespace ripplegauge::draw
