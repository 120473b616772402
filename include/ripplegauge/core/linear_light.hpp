#pragma once

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

}  // namespace ripplegauge
