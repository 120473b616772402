#pragma once

#include <algorithm>
#include <array>
#include <cmath>
#include <cstddef>
#include <vector>

namespace ripplegauge {

/// The periodic brightness profile S(phase) of the board's stripes as the photo shows it (duty, blur, sharpening and
/// tone curve included): a short Fourier series, tabulated with its derivative. Scaled so that dark is about -1 and
/// light about +1.
class StripeProfile {
 public:
  static constexpr int harmonics = 12;

  /// Least squares over samples (phase in cycles, value); a roughness penalty tames harmonics nobody measured.
  static StripeProfile fit(const std::vector<float>& phase_cycles, const std::vector<float>& value);
  static StripeProfile cosine();

  struct Sample { float value, derivative; };  ///< derivative per cycle

  /// `blur` is 2 pi^2 sigma^2 (nu^2 - nu0^2): what a Gaussian blur of sigma takes from stripes that stand denser (nu) in
  /// the photo than where the profile was learnt (nu0); harmonic k keeps exp(-k^2 blur). 0 = as learnt.
  Sample at(double phase_cycles, float blur = 0) const {
    double u = phase_cycles - static_cast<double>(static_cast<long long>(phase_cycles));
    if (u < 0) u += 1;
    u *= table_size;
    const auto i = static_cast<std::size_t>(u) & (table_size - 1);
    const float f = static_cast<float>(u - static_cast<double>(static_cast<long long>(u)));
    const auto in_table = [&](std::size_t level) {
      const Sample &a = tables_[level][i], &b = tables_[level][i + 1];
      return Sample{a.value + f * (b.value - a.value), a.derivative + f * (b.derivative - a.derivative)};
    };
    if (!(blur > 0)) return in_table(0);
    const float at_level = std::min(std::sqrt(blur / max_blur) * (levels - 1), static_cast<float>(levels - 1) - 1e-3F);
    const auto level = static_cast<std::size_t>(at_level);
    const float g = at_level - static_cast<float>(level);
    const Sample a = in_table(level), b = in_table(level + 1);
    return {a.value + g * (b.value - a.value), a.derivative + g * (b.derivative - a.derivative)};
  }
  float value(double phase_cycles, float blur = 0) const { return at(phase_cycles, blur).value; }

 private:
  static constexpr int table_size = 1024;
  static constexpr int levels = 9;
  static constexpr float max_blur = 4.5F;  ///< beyond, a stripe of 1 % contrast is left
  std::array<std::vector<Sample>, levels> tables_;
  static StripeProfile from_coefficients(const std::vector<double>& cosine, const std::vector<double>& sine, double mean);
};

}  // namespace ripplegauge
