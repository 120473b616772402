// Means over square blocks of cells, for filters so wide that a reduced picture does.
#include "stripes/block_means.hpp"

#include <algorithm>
#include <numeric>
#include <opencv2/imgproc.hpp>

#include "stripe_kernel.hpp"

namespace ripplegauge {

BlockMeans block_means(cv::Size cells, int side, const CellRow& cell_row) {
  const cv::Size blocks((cells.width - 1) / side + 1, (cells.height - 1) / side + 1);
  BlockMeans means;
  for (cv::Mat& mean : means) mean.create(blocks, CV_32FC1);
  for_rows(blocks.height, [&](int from, int to) {
    const auto count = static_cast<std::size_t>(cells.width);
    std::vector<float> phase(count), light(count);
    std::array<std::vector<float>, block_mean_count> sums;
    std::array<float*, block_mean_count> sum_rows;
    for (int b = from; b < to; ++b) {
      for (std::size_t k = 0; k < sums.size(); ++k) sums[k].assign(count, 0), sum_rows[k] = sums[k].data();
      const int first = b * side, last = std::min(first + side, cells.height);
      for (int r = first; r < last; ++r) {
        cell_row(r, light.data(), phase.data());
        kernel::add_row(light.data(), phase.data(), count, sum_rows.data());
      }
      for (std::size_t k = 0; k < sums.size(); ++k)
        average_blocks(sums[k], side, last - first, means[k].ptr<float>(b));
    }
  });
  return means;
}

void average_blocks(const std::vector<float>& sums, int side, int rows, float* means) {
  const int cells = static_cast<int>(sums.size());
  for (int left = 0; left < cells; left += side) {
    const int right = std::min(left + side, cells);
    *means++ = std::accumulate(sums.data() + left, sums.data() + right, 0.0F) /
               static_cast<float>((right - left) * rows);
  }
}

PanelGrid block_grid(const PanelGrid& grid, int side) {
  const double to_centre = 0.5 * (side - 1);
  return {grid.x_mm(to_centre), grid.y_mm(to_centre), side * grid.step_mm, (grid.columns - 1) / side + 1,
          (grid.rows - 1) / side + 1};
}

cv::Mat cells_of_blocks(const cv::Mat& blocks, int side, cv::Size cells, int interpolation) {
  cv::Mat out;
  cv::resize(blocks, out, blocks.size() * side, 0, 0, interpolation);
  return out(cv::Rect({}, cells));
}

void smooth_each(const std::vector<Smoothing>& pictures) {
  const auto work = [&](int from, int to) {
    for (int i = from; i < to; ++i) {
      const Smoothing& picture = pictures[static_cast<std::size_t>(i)];
      *picture.to = smooth(*picture.from, picture.sigma_px);
    }
  };
  constexpr std::size_t worth_waking = 20000;  // of pixels: below, a thread takes longer to wake than to work
  const int count = static_cast<int>(pictures.size());
  if (!pictures.empty() && pictures.front().from->total() < worth_waking)
    work(0, count);
  else
    for_rows(count, work);
}

}  // namespace ripplegauge
