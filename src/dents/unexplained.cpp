// A photo's answer is honest only if it names what it cannot explain. Loud cells are joined where less than
// half a period of the stripes parts them, since stripes show what bends them only at their edges.
#include "unexplained.hpp"

#include <algorithm>
#include <opencv2/imgproc.hpp>

#include "dents/loudness.hpp"

namespace ripplegauge {
namespace {

/// What is left over inside a spot is its shape.
void clear_spots(cv::Mat& cells, const PanelGrid& grid, const std::vector<SpotVector>& spots, double foot) {
  for (const SpotVector& s : spots) {
    const RadiusIn rho(s);
    for (int r = 0; r < cells.rows; ++r)
      for (int c = 0; c < cells.cols; ++c)
        if (cells.at<uchar>(r, c) != 0 && rho(grid.x_mm(c), grid.y_mm(r)) < foot) cells.at<uchar>(r, c) = 0;
  }
}

}  // namespace

Unexplained unexplained_places(const ResidualField& field, const DisturbanceMap& map,
                               const std::vector<SpotVector>& spots, const DentOptions& options) {
  const PanelGrid& grid = field.grid;
  Unexplained found;
  cv::Mat &cells = found.cells, labels, stats, centres, depth;
  cells = loud_cells(map, grid, options.acceptance.min_width_mm, options.candidates);
  const int reach = std::max(1, static_cast<int>(0.5 * field.period_mm / grid.step_mm));
  const cv::Mat disc = disc_of(reach);
  cv::distanceTransform(cells, depth, cv::DIST_L2, cv::DIST_MASK_5);
  cv::morphologyEx(cells, cells, cv::MORPH_CLOSE, disc);
  clear_spots(cells, grid, spots, options.effort.foot);
  const int regions = cv::connectedComponentsWithStats(cells, labels, stats, centres, 8, CV_32S);
  for (int i = 1; i < regions; ++i) {
    const cv::Rect box(stats.at<int>(i, cv::CC_STAT_LEFT), stats.at<int>(i, cv::CC_STAT_TOP),
                       stats.at<int>(i, cv::CC_STAT_WIDTH), stats.at<int>(i, cv::CC_STAT_HEIGHT));
    const cv::Mat here = labels(box) == i;
    double loudest = 0, half_width = 0;
    cv::minMaxLoc(map.energy(box), nullptr, &loudest, nullptr, nullptr, here);
    cv::Point widest;
    cv::minMaxLoc(depth(box), nullptr, &half_width, nullptr, &widest, here);
    if (loudest < options.acceptance.peel_excess) {
      cells(box).setTo(0, here);
      continue;
    }
    found.places.push_back(
        {grid.x_mm(box.x + widest.x), grid.y_mm(box.y + widest.y), 2 * half_width * grid.step_mm, loudest});
  }
  std::sort(found.places.begin(), found.places.end(),
            [](const UnexplainedPlace& a, const UnexplainedPlace& b) { return a.loudest > b.loudest; });
  return found;
}

}  // namespace ripplegauge
