// A spot's ellipse is walked through cell by cell; the field tells the line's cells from others not judged.
#include "dents/near_line.hpp"

#include <algorithm>
#include <cmath>

#include "dents/loudness.hpp"

namespace ripplegauge {

double share_on_line(const ResidualField& field, const SpotVector& spot, double reach) {
  const PanelGrid& grid = field.grid;
  const double reach_mm = reach * half_length_mm(spot);
  const cv::Rect box = grid.box_around(spot[s_x], spot[s_y], reach_mm);
  const RadiusIn rho(spot);
  int inside = 0, on_line = 0;
  for (int r = box.y; r < box.y + box.height; ++r)
    for (int c = box.x; c < box.x + box.width; ++c) {
      if (rho(grid.x_mm(c), grid.y_mm(r)) > reach) continue;
      ++inside;
      on_line += field.fold.at<uchar>(r, c) != 0 && field.valid.at<uchar>(r, c) == 0;
    }
  return inside > 0 ? static_cast<double>(on_line) / inside : 0;
}

}  // namespace ripplegauge
