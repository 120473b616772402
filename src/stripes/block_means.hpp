// What windows over the stripes need of a picture's cells, averaged over blocks of them first: all that
// follows is small.
#pragma once

#include <array>
#include <functional>
#include <opencv2/core/mat.hpp>
#include <vector>

#include "stripes/panel_view.hpp"

namespace ripplegauge {

/// Of cells of weight w (1 where there is light, else 0), light l and phase p: w, w l, w l^2, and w and w l
/// times cosine and sine of 2 pi p.
enum BlockMean : int {
  mean_weight,
  mean_light,
  mean_square,
  mean_weight_cos,
  mean_weight_sin,
  mean_light_cos,
  mean_light_sin,
  block_mean_count
};

/// CV_32FC1 each, a value a block.
using BlockMeans = std::array<cv::Mat, block_mean_count>;

/// Fills a row of cells: light, negative where there is none, and the stripes' phase.
using CellRow = std::function<void(int row, float* light, float* phase_cycles)>;

/// Means over blocks of `side` x `side` cells; the last ones may be smaller. Rows are asked for on several
/// threads.
BlockMeans block_means(cv::Size cells, int side, const CellRow& cell_row);

/// Means along a row of blocks of `side` columns, of sums over `rows` rows of cells.
void average_blocks(const std::vector<float>& sums, int side, int rows, float* means);

/// The blocks of a grid as a grid of their centres.
PanelGrid block_grid(const PanelGrid& grid, int side);

/// A picture of blocks as one of cells, by cv::InterpolationFlags.
cv::Mat cells_of_blocks(const cv::Mat& blocks, int side, cv::Size cells, int interpolation);

struct Smoothing {
  const cv::Mat* from;
  cv::Mat* to;
  double sigma_px;
};

/// Several pictures smoothed at once.
void smooth_each(const std::vector<Smoothing>& pictures);

}  // namespace ripplegauge
