// What changed in OpenCV's aruco interface since 4.7 stands in aruco_compat.cpp and nowhere else.
#pragma once

#include <cstdint>
#include <opencv2/core/mat.hpp>
#include <vector>

namespace ripplegauge::aruco {

struct Decoded {
  std::vector<std::vector<cv::Point2f>> corners_px;
  std::vector<int> ids;
};

/// Corners run clockwise from the one that stands at the top left of draw_36h11's picture.
Decoded decode_36h11(const cv::Mat& grey);

/// The tag's 8 x 8 picture as cards have it, CV_8UC1, 0 = black: the code of the family's table on its head.
cv::Mat draw_36h11(int id);

/// The code that an 8 x 8 picture shows where it stands as the family's table has it.
std::uint64_t code_in(const cv::Mat& picture);

}  // namespace ripplegauge::aruco
