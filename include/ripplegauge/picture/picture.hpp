// A finished picture in memory, and its bytes as a file.
#pragma once

#include <filesystem>
#include <opencv2/core/mat.hpp>
#include <string>
#include <vector>

namespace ripplegauge {

/// A line of text in a picture and the box that it fills, in pixels.
struct PlacedText {
  std::string text;
  cv::Rect2d box;
};

struct Picture {
  cv::Mat bgr;  ///< CV_8UC3
  std::vector<PlacedText> texts;
};

std::string encode_png(const cv::Mat& bgr);
std::string encode_jpeg(const cv::Mat& bgr, int quality = 90);

/// PNG or JPEG by how the name ends (.png, .jpg, .jpeg). Throws UsageError for any other name.
std::string encode_for_name(const cv::Mat& bgr, const std::filesystem::path& name);

}  // namespace ripplegauge
