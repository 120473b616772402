// Logarithm and exponential as plain arithmetic, so that loops around them become vector code without a call:
// a call takes longer than what it computes, and all registers with it. For kernels (*_kernel.cpp) alone.
#pragma once

#include <bit>
#include <cstdint>

namespace ripplegauge::kernel {

/// Base-2 logarithm of a positive normal number, within 2 units in the last place, near 1 of (x - 1). By the
/// odd series in (m - 1) / (m + 1) for a mantissa m in [sqrt(1/2), sqrt(2)); coefficients least in the
/// largest relative error, 7e-10.
[[gnu::always_inline]] inline float log2_of(float x) {
  constexpr std::int32_t root_half = 0x3f3504f3, mantissa_bits = 23;
  const auto bits = std::bit_cast<std::int32_t>(x);
  const std::int32_t exponent = (bits - root_half) >> mantissa_bits;
  const float mantissa = std::bit_cast<float>(bits - (exponent << mantissa_bits));
  const float s = (mantissa - 1) / (mantissa + 1), q = s * s;
  return static_cast<float>(exponent) +
         s * (2.88539008F + q * (0.961798848F + q * (0.576714381F + q * 0.431735952F)));
}

/// 2^x within 2 units in the last place, for -126 <= x < 127. By a polynomial about the nearest whole number;
/// coefficients least in the largest relative error, 2e-9.
[[gnu::always_inline]] inline float exp2_of(float x) {
  constexpr std::int32_t bias = 127, mantissa_bits = 23;
  const auto biased = static_cast<std::int32_t>(x + (bias + 0.5F));  // not negative, so it is rounded down
  const float f = x - static_cast<float>(biased - bias);
  const float high = 0.0555032878F + f * (9.61848896e-3F + f * (1.33999314e-3F + f * 1.53458118e-4F));
  const float power = 1 + f * (0.693147206F + f * (0.240226469F + f * high));
  return power * std::bit_cast<float>(biased << mantissa_bits);
}

}  // namespace ripplegauge::kernel
