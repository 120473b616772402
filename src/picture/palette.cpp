// Colours of heights and how well they stand out from one another.
#include "picture/palette.hpp"

#include <algorithm>
#include <cmath>

namespace ripplegauge {
namespace {

using Ramp = std::array<Rgb, 4>;  // at 0, 1/3, 2/3 and 1 of the range
constexpr Rgb zero = rgb_from_hex(0xf4f4f4);
constexpr Ramp low_ramp = {zero, rgb_from_hex(0xa9cbe6), rgb_from_hex(0x3f8cc5), rgb_from_hex(0x003f7a)};
constexpr Ramp high_ramp = {zero, rgb_from_hex(0xf2c19b), rgb_from_hex(0xdd7a2e), rgb_from_hex(0x8a2c00)};

double linear(double coded) {
  return coded <= 0.04045 ? coded / 12.92 : std::pow((coded + 0.055) / 1.055, 2.4);
}

}  // namespace

Rgb height_colour(double share) {
  const Ramp& ramp = share < 0 ? low_ramp : high_ramp;
  const double position = std::min(std::abs(share), 1.0) * (ramp.size() - 1);
  const auto stop = std::min(static_cast<std::size_t>(position), ramp.size() - 2);
  const double t = position - static_cast<double>(stop);
  return {std::lerp(ramp[stop].red, ramp[stop + 1].red, t),
          std::lerp(ramp[stop].green, ramp[stop + 1].green, t),
          std::lerp(ramp[stop].blue, ramp[stop + 1].blue, t)};
}

double relative_luminance(const Rgb& colour) {
  return 0.2126 * linear(colour.red) + 0.7152 * linear(colour.green) + 0.0722 * linear(colour.blue);
}

double contrast_ratio(const Rgb& a, const Rgb& b) {
  const auto [darker, lighter] = std::minmax({relative_luminance(a), relative_luminance(b)});
  return (lighter + 0.05) / (darker + 0.05);
}

}  // namespace ripplegauge
