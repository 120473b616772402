#pragma once

#include <vector>

#include "ripplegauge/core/relief.hpp"

namespace ripplegauge::picture_detail {

/// In rows and columns of the relief's grid.
struct GridPoint {
  double row = 0, column = 0;
  bool operator==(const GridPoint&) const = default;
};
using ContourLine = std::vector<GridPoint>;

/// Lines of equal height, by marching squares (Lorensen and Cline's marching cubes, SIGGRAPH 1987, in the
/// plane): straight between crossings of the grid's lines, saddles decided by the cell's mean. Pieces are
/// joined where they meet. No line runs through a cell with a NaN corner.
std::vector<ContourLine> contour_lines(const Relief& relief, double height_mm);

}  // namespace ripplegauge::picture_detail
