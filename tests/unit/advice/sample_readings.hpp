// Readings made by hand for the tests of severity, advice and plan.
#pragma once

#include <cmath>
#include <string>
#include <utility>
#include <vector>

#include "ripplegauge/core/reading.hpp"

namespace ripplegauge::sample {

/// value ± share
inline Quantity about(double value, double share) {
  return {value, value * (1 - share), value * (1 + share)};
}

inline Dent spot(Kind kind, double diameter_mm, double depth_mm, double length_over_width = 1) {
  Dent dent;
  dent.kind = kind;
  dent.x_mm = 60;
  dent.y_mm = 45;
  const double root = std::sqrt(length_over_width);
  dent.diameter_mm = about(diameter_mm, 0.02);
  dent.length_mm = about(diameter_mm * root, 0.02);
  dent.width_mm = about(diameter_mm / root, 0.02);
  dent.half_diameter_mm = about(diameter_mm * 0.55, 0.02);
  dent.angle_deg = 30;
  dent.depth_mm = about(depth_mm, 0.08);
  dent.agreement = 0.95;
  return dent;
}

inline Dent low(double diameter_mm, double depth_mm, double length_over_width = 1) {
  return spot(Kind::low, diameter_mm, depth_mm, length_over_width);
}
inline Dent high(double diameter_mm, double height_mm) { return spot(Kind::high, diameter_mm, height_mm); }

inline Reading reading(std::vector<Dent> dents) {
  Reading reading;
  reading.photo.name = "bonnet.jpg";
  reading.status = dents.empty() ? Status::no_dent : Status::measured;
  reading.dents = std::move(dents);
  JudgedArea area{.x0_mm = -100, .y0_mm = -100, .x1_mm = 400, .y1_mm = 400, .area_mm2 = 25e4};
  area.cell_mm = 10;
  area.rows.assign(50, std::string(50, '#'));
  reading.setup.judged = area;
  reading.setup.smallest_visible = {{5, 0.008}, {10, 0.012}, {20, 0.02}};
  return reading;
}

}  // namespace ripplegauge::sample
