// Strain, stretch and bend of sheet metal, and what width and depth alone say of them.
#include "severity/sheet_metal.hpp"

#include <algorithm>
#include <cmath>

#include "core/power_product.hpp"

namespace ripplegauge {

double yield_strain(double yield_mpa, double youngs_gpa) { return yield_mpa / (1000 * youngs_gpa); }

double bending_strain(double thickness_mm, double radius_mm) { return thickness_mm / (2 * radius_mm); }

double parabola_arc_mm(double chord_mm, double sagitta_mm) {
  const double a = 4 * std::abs(sagitta_mm) / chord_mm;
  // below this a, asinh(a) / a loses more digits than 1 + a²/6 leaves out (a⁴/40)
  if (a < 1e-3) return chord_mm * (1 + a * a / 6);
  return 0.5 * chord_mm * (std::sqrt(1 + a * a) + std::asinh(a) / a);
}

double profile_stretch(const std::vector<ProfilePoint>& section) {
  double peak = 0;
  for (const ProfilePoint& point : section) peak = std::max(peak, std::abs(point.height_mm));
  double arc = 0;
  std::vector<ProfilePoint> inside;
  for (const ProfilePoint& point : section) {
    if (!(std::abs(point.height_mm) >= 0.1 * peak) || peak == 0) continue;
    if (!inside.empty())
      arc += std::hypot(point.along_mm - inside.back().along_mm, point.height_mm - inside.back().height_mm);
    inside.push_back(point);
  }
  if (inside.size() < 3) return std::nan("");
  const double chord = std::hypot(inside.back().along_mm - inside.front().along_mm,
                                  inside.back().height_mm - inside.front().height_mm);
  return arc / chord - 1;
}

Quantity estimated_bend_radius_mm(const Quantity& width_mm, const Quantity& depth_mm) {
  const double sigma_mm = width_mm.value / (2 * std::sqrt(2 * std::log(10.0)));
  // per unit of depth
  const auto slope = [&](double x_mm) {
    const double u = x_mm / sigma_mm;
    return u / sigma_mm * std::exp(-0.5 * u * u);
  };
  double change = 0;
  constexpr int places = 40;
  for (int i = 0; i <= places;
       ++i) {  // the middle of the averaged length, out to its end on the spot's middle
    const double middle_mm = 0.5 * bend_length_mm * i / places;
    change = std::max(
        change, std::abs(slope(middle_mm + 0.5 * bend_length_mm) - slope(middle_mm - 0.5 * bend_length_mm)));
  }
  const double shape = std::log(10.0);  // a parabola of this size bends so much less in the middle
  // the radius goes with the width to a power between 1 and 2
  const Quantity width{1, width_mm.low / width_mm.value, width_mm.high / width_mm.value};
  return power_product(bend_length_mm / change, {{depth_mm, -1}, {width, 2}, {{1, 1 / shape, shape}, 1}});
}

Quantity estimated_max_slope_mrad(const Quantity& width_mm, const Quantity& depth_mm) {
  const double gaussian = 2 * std::sqrt(2 * std::log(10.0)) / std::sqrt(std::exp(1.0));
  const Quantity shape{1, gaussian / 4, 4 / gaussian};
  return power_product(1000 * gaussian, {{depth_mm, 1}, {width_mm, -1}, {shape, 1}});
}

Quantity estimated_stretch(const Quantity& width_mm, const Quantity& depth_mm) {
  const Quantity ratio = power_product(1, {{depth_mm, 1}, {width_mm, -1}});
  const auto stretch = [](double sagitta_over_chord) { return parabola_arc_mm(1, sagitta_over_chord) - 1; };
  return {stretch(ratio.value), stretch(ratio.low), stretch(ratio.high)};
}

}  // namespace ripplegauge
