#pragma once

namespace ripplegauge {

/// Share of light that a clear coat of this refractive index mirrors at normal incidence, ((n - 1) / (n +
/// 1))^2 (Fresnel).
constexpr double normal_reflectance(double refractive_index) {
  const double r = (refractive_index - 1) / (refractive_index + 1);
  return r * r;
}

inline constexpr double clear_coat_index = 1.5;  // acrylic and polyurethane clear coats: 1.49 to 1.56

}  // namespace ripplegauge
