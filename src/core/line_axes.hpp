// Where a place of the panel stands to a body line.
#pragma once

#include <cmath>
#include <numbers>

#include "ripplegauge/core/reading.hpp"

namespace ripplegauge {

/// A body line's own axes: along it from the point that BodyLine names, and off it.
class LineAxes {
 public:
  explicit LineAxes(const BodyLine& line) : x_mm_(line.x_mm), y_mm_(line.y_mm) {
    const double along_rad = line.angle_deg * std::numbers::pi / 180;
    cos_ = std::cos(along_rad);
    sin_ = std::sin(along_rad);
  }

  double along_mm(double x_mm, double y_mm) const { return (x_mm - x_mm_) * cos_ + (y_mm - y_mm_) * sin_; }
  /// Never negative: a BodyLine does not say which of its sides is the card's.
  double off_mm(double x_mm, double y_mm) const {
    return std::abs((x_mm - x_mm_) * sin_ - (y_mm - y_mm_) * cos_);
  }
  /// The line's place so far along it.
  PointMm at(double along_mm) const { return {x_mm_ + along_mm * cos_, y_mm_ + along_mm * sin_}; }

 private:
  double x_mm_, y_mm_, cos_ = 1, sin_ = 0;
};

}  // namespace ripplegauge
