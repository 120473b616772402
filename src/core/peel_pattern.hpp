// The paint's orange peel as the stripes show it: what tells one place on a panel from every other.
#pragma once

#include <vector>

#include "ripplegauge/core/reading.hpp"

namespace ripplegauge {

/// How far peel moves the stripes' edges, in cells of the card's frame.
struct PeelPattern {
  double cell_mm = 0;
  PointMm first;  ///< the middle of row 0, column 0
  int rows = 0, columns = 0;
  /// Row by row; NaN where no edge shows it. Whatever changes over several millimetres is taken away.
  std::vector<float> shift_cycles;
  PointMm slope_direction;  ///< unit vector: slope along it moves the stripes onwards

  bool empty() const { return shift_cycles.empty(); }
  float at(int row, int column) const {
    return shift_cycles[static_cast<std::size_t>(row) * static_cast<std::size_t>(columns) +
                        static_cast<std::size_t>(column)];
  }
};

}  // namespace ripplegauge
