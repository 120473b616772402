// How wide the edges in a photo are, in every direction: blur, and whether it came from motion.
#pragma once

#include <opencv2/core/mat.hpp>

namespace ripplegauge {

/// Widths over which the photo's steepest edges rise: contrast over gradient. Motion along one direction
/// smears every edge by the same width when it is followed along that direction, and leaves the edges along
/// it sharp; lack of focus widens all alike.
struct Sharpness {
  double widest_px = 0, narrowest_px = 0;  ///< over the directions
  double contrast = 0;                     ///< of those edges, code values of 255
  /// Sharp photos have a ratio of 1.2 to 1.6 (edges do not lie in all directions), motion of three edge
  /// widths 2.
  bool by_motion() const { return widest_px > 1.9 * narrowest_px; }
};

Sharpness sharpness_of(const cv::Mat& grey, cv::Rect region_px);

}  // namespace ripplegauge
