// What changed in OpenCV's aruco interface since 4.7 stands in aruco_compat.cpp and nowhere else.
#pragma once

#include <opencv2/core/mat.hpp>
#include <vector>

namespace ripplegauge::aruco {

struct Decoded {
  std::vector<std::vector<cv::Point2f>> corners_px;
  std::vector<int> ids;
};

Decoded decode_36h11(const cv::Mat& grey);

/// The tag's 8 x 8 picture, CV_8UC1, 0 = black.
cv::Mat draw_36h11(int id);

}  // namespace ripplegauge::aruco
