// Two photos show peel only where an edge of their stripes runs: what counts are the crossings of both.
#include "compare/peel.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace ripplegauge {
namespace {

constexpr double left_alone_mm = 1, elsewhere_from_mm = 3, elsewhere_to_mm = 9;
constexpr double lag_step_mm = 0.4;  ///< less than half a wave of peel
constexpr int least_crossings = 100, least_lags = 200;

struct PlacedShift {
  PointMm place;
  float shift_cycles = 0;
};

bool near_a_spot(const PointMm& place, const std::vector<Dent>& spots) {
  constexpr double reach = 1.5;  // of half a length
  return std::any_of(spots.begin(), spots.end(), [&](const Dent& spot) {
    const double half_mm = 0.5 * std::max(spot.length_mm.value, spot.diameter_mm.value);
    return std::hypot(place.x_mm - spot.x_mm, place.y_mm - spot.y_mm) < reach * half_mm;
  });
}

std::vector<PlacedShift> away_from_spots(const PeelPattern& pattern, const std::vector<Dent>& one,
                                         const std::vector<Dent>& other) {
  std::vector<PlacedShift> all;
  for (int r = 0; r < pattern.rows; ++r)
    for (int c = 0; c < pattern.columns; ++c) {
      const float shift = pattern.at(r, c);
      const PointMm place{pattern.first.x_mm + c * pattern.cell_mm, pattern.first.y_mm + r * pattern.cell_mm};
      if (std::isfinite(shift) && !near_a_spot(place, one) && !near_a_spot(place, other))
        all.push_back({place, shift});
    }
  return all;
}

/// NaN where too few edges cross.
double correlation(const std::vector<PlacedShift>& before, const PeelPattern& after, PointMm lag) {
  double both = 0, one = 0, other = 0;
  int crossings = 0;
  for (const PlacedShift& placed : before) {
    const int row = static_cast<int>(
                  std::lround((placed.place.y_mm + lag.y_mm - after.first.y_mm) / after.cell_mm)),
              column = static_cast<int>(
                  std::lround((placed.place.x_mm + lag.x_mm - after.first.x_mm) / after.cell_mm));
    if (row < 0 || column < 0 || row >= after.rows || column >= after.columns) continue;
    const double here = placed.shift_cycles, there = after.at(row, column);
    if (std::isnan(there)) continue;
    both += here * there;
    one += here * here;
    other += there * there;
    ++crossings;
  }
  const bool enough = crossings >= least_crossings && one > 0 && other > 0;
  return enough ? both / std::sqrt(one * other) : std::numeric_limits<double>::quiet_NaN();
}

}  // namespace

PeelAgreement peel_agreement(const PeelPattern& before, const std::vector<Dent>& spots_before,
                             const PeelPattern& after, const std::vector<Dent>& spots_after) {
  PeelAgreement agreement;
  if (before.empty() || after.empty()) return agreement;
  // Stripes that run the other way round move the other way.
  const double together = before.slope_direction.x_mm * after.slope_direction.x_mm +
                          before.slope_direction.y_mm * after.slope_direction.y_mm;
  const double sign = together < 0 ? -1 : 1;
  const std::vector<PlacedShift> shifts = away_from_spots(before, spots_before, spots_after);
  double squares = 0;
  int lags = 0;
  const int reach = static_cast<int>(elsewhere_to_mm / lag_step_mm);
  for (int y = -reach; y <= reach; ++y)
    for (int x = -reach; x <= reach; ++x) {
      const PointMm lag{x * lag_step_mm, y * lag_step_mm};
      const double off_mm = std::hypot(lag.x_mm, lag.y_mm);
      const bool in_place = off_mm <= left_alone_mm,
                 elsewhere = off_mm >= elsewhere_from_mm && off_mm <= elsewhere_to_mm;
      if (!in_place && !elsewhere) continue;
      const double found = sign * correlation(shifts, after, lag);
      if (std::isnan(found)) continue;
      double& best = in_place ? agreement.in_place : agreement.best_elsewhere;
      best = std::max(best, found);
      if (!elsewhere) continue;
      squares += found * found;
      ++lags;
    }
  if (lags < least_lags) return {};
  agreement.elsewhere = std::sqrt(squares / lags);
  return agreement;
}

}  // namespace ripplegauge
