// The places along a crease, from its length, direction and deepest point.
#include "core/crease.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

namespace ripplegauge {

bool is_crease(const Quantity& length_mm, const Quantity& width_mm) {
  constexpr double long_from_ratio = 2;
  return length_mm.value >= long_from_ratio * width_mm.value;
}

bool is_crease(const Dent& dent) { return is_crease(dent.length_mm, dent.width_mm); }

std::vector<PointMm> pull_places(const Dent& dent, double face_mm, int in_row) {
  const PointMm deepest = dent.deepest.value_or(PointMm{dent.x_mm, dent.y_mm});
  if (!is_crease(dent)) return {deepest};
  constexpr double edge_share = 0.075;  // at each end some of the damaged edge stays in sight beyond the face
  const double end_mm = 0.5 * ((1 - 2 * edge_share) * dent.length_mm.value - face_mm);
  if (!(end_mm > face_mm / 6)) return {{dent.x_mm, dent.y_mm}};
  const double angle = dent.angle_deg * std::numbers::pi / 180;
  std::vector<PointMm> places;
  const auto add = [&](double along_mm) {
    places.push_back({dent.x_mm + along_mm * std::cos(angle), dent.y_mm + along_mm * std::sin(angle)});
  };
  const int count = std::max(2, in_row);
  for (int i = 0; 2 * i < count; ++i) {
    const double along_mm = end_mm * (1 - 2.0 * i / (count - 1));
    add(-along_mm);
    if (2 * i + 1 < count) add(along_mm);
  }
  if (in_row < 2) places.push_back(deepest);
  return places;
}

}  // namespace ripplegauge
