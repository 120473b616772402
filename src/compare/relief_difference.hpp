// Two reliefs over each other.
#pragma once

#include <limits>
#include <optional>
#include <vector>

#include "compare/alignment.hpp"
#include "ripplegauge/core/reading.hpp"
#include "ripplegauge/core/relief.hpp"

namespace ripplegauge {

/// Bilinear between the four points around; NaN outside or where one of them was not measured.
double height_at(const Relief& relief, PointMm point);

/// The same, but 0 beyond the relief's grid: a relief covers the spots that were found, and beyond them
/// nothing was.
double height_or_flat(const Relief& relief, PointMm point);

/// Two reliefs on one grid that covers both, in the frame of before. NaN where a relief says that it was not
/// measured.
struct ReliefPair {
  Relief before, after;
};
ReliefPair on_one_grid(const Relief& before, const Relief& after, const CardMotion& motion);

/// After minus before: positive where the surface came up.
Relief difference_of(const ReliefPair& pair);

/// Whether a relief says that a place was measured.
enum class Seen {
  yes,
  no,      ///< the relief covers the place but was not measured there
  unknown  ///< the relief does not reach there
};
Seen seen(const Relief& relief, PointMm centre, const Dent& spot, double least_share);

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
                                           const Relief& relief_after, const CardMotion& motion,
                                           bool nothing_after);

}  // namespace ripplegauge
