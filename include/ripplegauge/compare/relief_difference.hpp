// Two reliefs over each other.
#pragma once

#include <limits>
#include <optional>
#include <vector>

#include "ripplegauge/compare/alignment.hpp"
#include "ripplegauge/core/reading.hpp"
#include "ripplegauge/core/relief.hpp"

namespace ripplegauge {

/// Bilinear between the four points around; NaN outside or where one of them was not measured.
double height_at(const Relief& relief, PointMm point);

/// The relief after, resampled on the grid of the relief before.
Relief in_before_frame(const Relief& after, const CardMotion& motion, const Relief& before);

/// After minus before on the grid of before: positive where the surface came up; NaN where one was not
/// measured.
Relief relief_difference(const Relief& before, const Relief& after, const CardMotion& motion);

/// The share of the spot's 10 % region, laid at `centre`, where the relief was measured.
double measured_share(const Relief& relief, PointMm centre, const Dent& spot);

/// Standard deviation of the heights around `centre`, by their median deviation, away from the spots. Absent
/// where fewer than 50 points are left, or where the relief is smooth by construction (no scatter at all).
std::optional<double> scatter_mm(const Relief& relief, PointMm centre, double radius_mm,
                                 const std::vector<Dent>& spots);

struct SectionPoint {
  double along_mm = 0;
  double before_mm = std::numeric_limits<double>::quiet_NaN();
  double after_mm = std::numeric_limits<double>::quiet_NaN();
};

/// Heights before and after along one line: through the spot before, along its length axis, one and a half
/// times its length to each side. From the reliefs, else from the sections that the readings hold (then along
/// each one's own axis). Empty when there are neither.
std::vector<SectionPoint> compared_section(const Dent& before, const Relief& relief_before, const Dent* after,
                                           const Relief& relief_after, const CardMotion& motion);

}  // namespace ripplegauge
