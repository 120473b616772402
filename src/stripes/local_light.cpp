// Level and contrast of the stripes' light, cell by cell: least squares under a Gaussian window, from the
// window's means of products. Means over blocks do where the window is wide.
#include <algorithm>
#include <cmath>
#include <opencv2/core.hpp>
#include <opencv2/imgproc.hpp>

#include "stripe_kernel.hpp"
#include "stripes/block_means.hpp"
#include "stripes/residual_field.hpp"

namespace ripplegauge {
namespace {

/// Means over blocks of side x side cells of w, w s, w i, w s s, w s i.
using ProductMeans = std::array<cv::Mat, 5>;

ProductMeans product_means(const cv::Mat& light, const cv::Mat& profile_value, const cv::Mat& weight,
                           int side) {
  const cv::Size blocks((light.cols - 1) / side + 1, (light.rows - 1) / side + 1);
  ProductMeans means;
  for (cv::Mat& mean : means) mean.create(blocks, CV_32FC1);
  for_rows(blocks.height, [&](int from, int to) {
    const auto cells = static_cast<std::size_t>(light.cols);
    std::array<std::vector<float>, 5> sums;
    std::array<float*, 5> sum_rows;
    for (int b = from; b < to; ++b) {
      for (std::size_t k = 0; k < sums.size(); ++k) sums[k].assign(cells, 0), sum_rows[k] = sums[k].data();
      const int first = b * side, last = std::min(first + side, light.rows);
      for (int r = first; r < last; ++r)
        kernel::add_products(light.ptr<float>(r), profile_value.ptr<float>(r), weight.ptr<float>(r), cells,
                             sum_rows.data());
      for (std::size_t k = 0; k < sums.size(); ++k)
        average_blocks(sums[k], side, last - first, means[k].ptr<float>(b));
    }
  });
  return means;
}

}  // namespace

void local_light(const cv::Mat& light, const cv::Mat& profile_value, const cv::Mat& weight, double sigma_px,
                 cv::Mat& level, cv::Mat& contrast) {
  constexpr double ridge =
      0.02;  // S has variance near 0.7: keeps B finite where the window holds half a stripe
  // Wide windows: averaged over blocks a third of the window's sigma wide first, so that all that follows is
  // small.
  const int side = std::max(1, static_cast<int>(sigma_px / 3));
  ProductMeans m = product_means(light, profile_value, weight, side);
  std::vector<Smoothing> smoothings;
  for (cv::Mat& mean : m) smoothings.push_back({&mean, &mean, sigma_px / side});
  smooth_each(smoothings);
  auto& [norm, mean_s, mean_i, mean_ss, mean_si] = m;
  norm += 1e-4;
  for (std::size_t k = 1; k < m.size(); ++k) m[k] /= norm;
  contrast = (mean_si - mean_s.mul(mean_i)) / (mean_ss - mean_s.mul(mean_s) + ridge);
  level = mean_i - contrast.mul(mean_s);
  if (side > 1)
    for (cv::Mat* image : {&level, &contrast})
      *image = cells_of_blocks(*image, side, light.size(), cv::INTER_LINEAR);
}

}  // namespace ripplegauge
