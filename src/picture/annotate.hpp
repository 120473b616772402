// The photo with what was measured drawn onto it: for the person who stands at the panel with a phone.
#pragma once

#include <string>
#include <vector>

#include "picture/picture.hpp"
#include "ripplegauge/core/reading.hpp"
#include "words/wording.hpp"

namespace ripplegauge {

struct AnnotateInput {
  /// The photo in colour, upright, of any size (see read_photo_colour); reading.photo tells its full size.
  cv::Mat photo_bgr;
  Reading reading;
  /// For each dent the nearest coin in words, such as "about a quarter (24.3 mm)"; may be shorter or empty.
  std::vector<std::string> coins;
  Wording words = Wording::plain();
  /// For each dent the number that it bears; empty: from 1 on.
  std::vector<int> numbers{};

  int number(std::size_t dent) const {
    return dent < numbers.size() ? numbers[dent] : static_cast<int>(dent) + 1;
  }
};

/// Outlines, labels and a scale bar on the photo; below it a row a dent with sizes, intervals, severity and a
/// cross-section. A photo that was refused or shows no dent gets a band that says so. Works for whatever a
/// reading holds: outlines that are missing or lie outside the photo are left out.
Picture annotated_picture(const AnnotateInput& input);

}  // namespace ripplegauge
