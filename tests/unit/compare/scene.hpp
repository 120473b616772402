// Readings with known truth for the tests of comparisons.
#pragma once

#include <cmath>
#include <limits>
#include <vector>

#include "compare/alignment.hpp"
#include "ripplegauge/core/reading.hpp"
#include "ripplegauge/core/relief.hpp"

namespace ripplegauge::test {

inline Quantity within(double value, double percent) {
  return {value, value * (1 - percent / 100), value * (1 + percent / 100)};
}

/// A round spot with 5 % of uncertainty in depth, 2 % in diameter.
inline Dent spot(Kind kind, double x_mm, double y_mm, double depth_mm, double diameter_mm) {
  Dent dent;
  dent.kind = kind;
  dent.x_mm = x_mm;
  dent.y_mm = y_mm;
  dent.depth_mm = within(depth_mm, 5);
  dent.diameter_mm = dent.length_mm = dent.width_mm = within(diameter_mm, 2);
  dent.half_diameter_mm = within(0.55 * diameter_mm, 2);
  dent.volume_mm3 = within(0.3 * depth_mm * diameter_mm * diameter_mm, 8);
  return dent;
}

inline Reading reading(const std::vector<Dent>& dents) {
  Reading result;
  result.status = dents.empty() ? Status::no_dent : Status::measured;
  result.dents = dents;
  return result;
}

/// A judged area of 100 by 100 mm from the origin.
inline Reading judged(Reading reading) {
  JudgedArea area{.x1_mm = 100, .y1_mm = 100, .area_mm2 = 1e4};
  area.cell_mm = 2;
  area.rows.assign(50, std::string(50, '#'));
  reading.setup.judged = area;
  return reading;
}

/// The relief of these spots (Gaussian, as wide as stated at a tenth), with a scatter that has no pattern.
inline Relief relief_of(const std::vector<Dent>& dents, double scatter_mm = 0) {
  Relief relief;
  relief.x0_mm = 0;
  relief.y0_mm = 0;
  relief.step_mm = 0.5;
  relief.columns = 201;
  relief.rows = 181;
  unsigned state = 12345;
  for (int row = 0; row < relief.rows; ++row) {
    for (int column = 0; column < relief.columns; ++column) {
      double height = 0;
      for (const Dent& dent : dents) {
        const double r = std::hypot(column * 0.5 - dent.x_mm, row * 0.5 - dent.y_mm);
        const double sigma = dent.diameter_mm.value / 4.291932;  // full width at a tenth of a Gaussian
        height += (dent.kind == Kind::low ? -1 : 1) * dent.depth_mm->value *
                  std::exp(-0.5 * r * r / (sigma * sigma));
      }
      state = state * 1664525u + 1013904223u;
      height += scatter_mm * std::sqrt(12.0) * (state / 4294967296.0 - 0.5);
      relief.height_mm.push_back(static_cast<float>(height));
    }
  }
  return relief;
}

/// The same spots as they look in the frame of a card that was moved: the inverse of before_from_after.
inline std::vector<Dent> seen_from(const CardMotion& motion, std::vector<Dent> dents) {
  for (Dent& dent : dents) {
    const PointMm place = motion.after_from_before({dent.x_mm, dent.y_mm});
    dent.x_mm = place.x_mm;
    dent.y_mm = place.y_mm;
  }
  return dents;
}

}  // namespace ripplegauge::test
