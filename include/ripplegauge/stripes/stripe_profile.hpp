#pragma once

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
  Sample at(double phase_cycles) const {
    double u = phase_cycles - static_cast<double>(static_cast<long long>(phase_cycles));
    if (u < 0) u += 1;
    u *= table_size;
    const int i = static_cast<int>(u) & (table_size - 1);
    const float f = static_cast<float>(u - static_cast<int>(u));
    const Sample &a = table_[static_cast<std::size_t>(i)], &b = table_[static_cast<std::size_t>(i) + 1];
    return {a.value + f * (b.value - a.value), a.derivative + f * (b.derivative - a.derivative)};
  }
  float value(double phase_cycles) const { return at(phase_cycles).value; }

 private:
  static constexpr int table_size = 1024;
  std::vector<Sample> table_;
  static StripeProfile from_coefficients(const std::vector<double>& cosine, const std::vector<double>& sine, double mean);
};

}  // namespace ripplegauge
