// How sharp a photo is where the stripes are, from the spectrum of its finest detail.
#include "sharpness.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "core/quantile.hpp"

namespace ripplegauge {

Sharpness sharpness_of(const cv::Mat& grey, cv::Rect region_px) {
  region_px &= cv::Rect(0, 0, grey.cols, grey.rows);
  Sharpness s;
  if (region_px.width < 8 || region_px.height < 8) return s;
  constexpr int side_px =
      1500;  // edges of 3 px and more survive the reduction; wider ones are what is looked for
  const int factor = std::max(1, std::max(region_px.width, region_px.height) / side_px);
  cv::Mat small;
  cv::resize(grey(region_px), small, cv::Size(region_px.width / factor, region_px.height / factor), 0, 0,
             cv::INTER_AREA);
  cv::Mat gx, gy, low, high;  // the gradients eightfold, as whole numbers: floating-point ones of a large
                              // photo take much memory
  cv::Sobel(small, gx, CV_16S, 1, 0);
  cv::Sobel(small, gy, CV_16S, 0, 1);
  constexpr int reach_px = 31;  // a neighbourhood that holds both sides of an edge
  cv::erode(small, low, cv::Mat::ones(reach_px, reach_px, CV_8U));
  cv::dilate(small, high, cv::Mat::ones(reach_px, reach_px, CV_8U));
  const cv::Mat contrast = high - low;
  s.narrowest_px = std::numeric_limits<double>::infinity();
  constexpr int directions = 12;
  constexpr double steepest_share = 0.999;
  std::vector<float> gradients, widths, contrasts;
  for (int i = 0; i < directions; ++i) {
    const double angle = std::numbers::pi * i / directions;
    const float along_x = static_cast<float>(std::cos(angle) / 8),
                along_y = static_cast<float>(std::sin(angle) / 8);
    const auto gradient = [&](int r, int c) {
      return std::abs(along_x * static_cast<float>(gx.at<short>(r, c)) +
                      along_y * static_cast<float>(gy.at<short>(r, c)));
    };
    gradients.clear(), widths.clear(), contrasts.clear();
    for (int r = 0; r < small.rows; r += 2)
      for (int c = 0; c < small.cols; c += 2) gradients.push_back(gradient(r, c));
    const float steep = std::max(quantile_of(gradients, steepest_share), 0.5F);
    for (int r = 0; r < small.rows; ++r)
      for (int c = 0; c < small.cols; ++c) {
        const float steepness = gradient(r, c);
        if (steepness < steep) continue;
        contrasts.push_back(contrast.at<uchar>(r, c));
        widths.push_back(contrasts.back() / steepness);
      }
    if (widths.empty()) continue;
    const double width = factor * median_of(widths);
    s.widest_px = std::max(s.widest_px, width), s.narrowest_px = std::min(s.narrowest_px, width);
    s.contrast = std::max<double>(s.contrast, median_of(contrasts));
  }
  if (s.widest_px == 0) s.narrowest_px = 0;
  return s;
}

}  // namespace ripplegauge
