// A photo seen squarely: the panel at a known scale, so that two photos lie side by side.
#pragma once

#include <opencv2/core/mat.hpp>
#include <string>
#include <vector>

#include "ripplegauge/core/card_definition.hpp"
#include "ripplegauge/core/reading.hpp"

namespace ripplegauge {

/// A place on the panel and where the photo shows it, in pixels of the picture that is given, centres at
/// integers.
struct SeenPlace {
  cv::Point2d pixel;
  PointMm place;
};

/// The area in `pixels_per_mm`, the panel taken as flat (good enough to look at, not to measure); y points
/// up. Grey where the photo does not reach. Empty with fewer than four places or when they lie on a line.
cv::Mat rectified_view(const cv::Mat& photo_bgr, const std::vector<SeenPlace>& places,
                       const RectangleMm& area, double pixels_per_mm);

/// Pictures beside each other, top edges level, each under its title; without titles where none is given.
struct TitledPicture {
  cv::Mat bgr;
  std::string title;
};
cv::Mat side_by_side(const std::vector<TitledPicture>& pictures);

}  // namespace ripplegauge
