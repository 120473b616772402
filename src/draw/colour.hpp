// Colours of everything that is drawn.
#pragma once

namespace ripplegauge {

/// sRGB-coded, each 0..1.
struct Rgb {
  double red = 0, green = 0, blue = 0;
};

constexpr Rgb rgb_from_hex(unsigned hex) {
  return {((hex >> 16) & 255u) / 255.0, ((hex >> 8) & 255u) / 255.0, (hex & 255u) / 255.0};
}

}  // namespace ripplegauge
