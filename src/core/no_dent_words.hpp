// What "no dent" means for one photo, in words: where it was judged, and what would have shown there.
#pragma once

#include <string>

#include "ripplegauge/core/reading.hpp"

namespace ripplegauge {

/// "No dent in the 42 cm2 that were judged, 63 % of the panel round the card.", or without the limit where
/// nearly all of it was.
std::string no_dent_headline(const Setup& setup);

/// "It would have shown from 0.02 mm deep at 10 mm wide (0.05 at 5, 0.03 at 20)."; empty where not known.
std::string smallest_visible_words(const Setup& setup);

/// "Body line: the panel turns away by 4.1 degrees (3.9 to 4.3) within 6 mm; ..."
std::string body_line_words(const BodyLine& line);

/// "flattened over 32 mm, 0.18 mm low": what a spot on the body line did to it, told for the spot's kind.
std::string flattened_words(const FlattenedLine& line, Kind kind);

}  // namespace ripplegauge
