#pragma once

#include <algorithm>
#include <array>
#include <cmath>

namespace ripplegauge {

/// Linear light in [0, 1] for each 8-bit sRGB code value (IEC 61966-2-1, the inverse of the transfer curve).
inline const std::array<float, 256>& linear_from_srgb8() {
  static const std::array<float, 256> table = [] {
    std::array<float, 256> t{};
    for (int code = 0; code < 256; ++code) {
      const double v = code / 255.0;
      t[static_cast<std::size_t>(code)] =
          static_cast<float>(v <= 0.04045 ? v / 12.92 : std::pow((v + 0.055) / 1.055, 2.4));
    }
    return t;
  }();
  return table;
}

/// Code value in [0, 255], not rounded, of linear light; light outside [0, 1] counts as its nearest end.
inline double srgb_code_from_linear(double light) {
  const double v = std::clamp(light, 0.0, 1.0);
  return 255 * (v <= 0.0031308 ? 12.92 * v : 1.055 * std::pow(v, 1 / 2.4) - 0.055);
}

}  // namespace ripplegauge
