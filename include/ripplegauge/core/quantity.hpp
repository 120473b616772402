// A measured number never travels without its interval.
#pragma once

#include <limits>

namespace ripplegauge {

/// Half of a 95 % interval in standard uncertainties, as every interval of the program has it (JCGM 100:2008,
/// 6.3.3).
inline constexpr double coverage_factor_95 = 2;

/// A value with its 95 % interval [low, high], all in the unit that
/// the name of the variable ends in. A default-constructed quantity is NaN throughout: not yet measured.
struct Quantity {
  double value = std::numeric_limits<double>::quiet_NaN();
  double low = std::numeric_limits<double>::quiet_NaN();
  double high = std::numeric_limits<double>::quiet_NaN();

  double half_width() const { return 0.5 * (high - low); }
  bool straddles(double threshold) const { return low < threshold && threshold <= high; }
  bool operator==(const Quantity&) const = default;
};

/// The interval value ± k u, clamped below at `floor` (a length cannot be negative).
inline Quantity quantity_from_standard_uncertainty(double value, double standard_uncertainty,
                                                   double coverage_factor = coverage_factor_95,
                                                   double floor = -std::numeric_limits<double>::infinity()) {
  const double half = coverage_factor * standard_uncertainty;
  return {value, value - half < floor ? floor : value - half, value + half};
}

}  // namespace ripplegauge
