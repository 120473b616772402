// What the next photo of the same place should look like, beside the photo that is there.
#pragma once

#include <string>
#include <vector>

#include "picture/picture.hpp"
#include "ripplegauge/core/reading.hpp"

namespace ripplegauge {

struct NextPhoto {
  int spot = 0;                     ///< index in the reading's dents
  double stripe_direction_deg = 0;  ///< in the photo that is there, from level, rising to the right
  double stripe_period_px = 0;      ///< in its full-size pixels
  double turn_deg = 0;              ///< of the stripes; 0: as they are
  double period_factor = 1;         ///< of the stripes; below 1: finer
  std::string stripes_missing;     ///< side of the spot in the photo: "left", "right", "above", "below" or ""
  std::vector<std::string> words;  ///< what to do, a sentence each
};

/// Two round views of the spot, what the photo shows and what the next one should show, and the words below.
/// `photo_bgr` is the photo in colour, upright, of any size. Throws std::invalid_argument for a spot or an
/// outline that the reading does not have.
Picture next_photo_picture(const cv::Mat& photo_bgr, const Reading& reading, const NextPhoto& next);

}  // namespace ripplegauge
