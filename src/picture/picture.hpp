// The bytes of a finished picture as a file.
#pragma once

#include <filesystem>
#include <string>

#include "draw/pixel_canvas.hpp"

namespace ripplegauge {

std::string encode_png(const cv::Mat& bgr);
std::string encode_jpeg(const cv::Mat& bgr, int quality = 90);

/// PNG or JPEG by how the name ends (.png, .jpg, .jpeg). Throws UsageError for any other name.
std::string encode_for_name(const cv::Mat& bgr, const std::filesystem::path& name);

}  // namespace ripplegauge
