#pragma once

#include <vector>

namespace ripplegauge {

/// A height map in the card frame. Row r, column c is the point (x0_mm + c step_mm, y0_mm + r step_mm):
/// row-major, row 0 at the smallest y. Heights in mm, negative = low; NaN where nothing was measured.
struct Relief {
  double x0_mm = 0, y0_mm = 0, step_mm = 0;
  int columns = 0, rows = 0;
  std::vector<float> height_mm;

  float& at(int row, int column) { return height_mm[static_cast<std::size_t>(row) * columns + column]; }
  float at(int row, int column) const { return height_mm[static_cast<std::size_t>(row) * columns + column]; }
  bool empty() const { return height_mm.empty(); }
};

}  // namespace ripplegauge
