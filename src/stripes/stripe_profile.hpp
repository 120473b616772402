#pragma once

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

namespace ripplegauge {

/// The periodic brightness profile S(phase) of the board's stripes as the photo shows it (duty, blur,
/// sharpening and tone curve included), tabulated with its derivative, sharp or blurred. Scaled so that dark
/// is about -1 and light about +1.
class StripeProfile {
 public:
  /// Means over samples (phase in cycles, value) in bins of phase, as a Fourier series; harmonics that do not
  /// stand out of the noise shrink towards nothing.
  static StripeProfile fit(const std::vector<float>& phase_cycles, const std::vector<float>& value);
  static StripeProfile cosine();

  struct Sample {
    float value, derivative;
  };  ///< derivative per cycle

  /// `blur` is 2 pi^2 sigma^2 (nu^2 - nu0^2): what a Gaussian blur of sigma takes from stripes that stand
  /// denser (nu) in the photo than where the profile was learnt (nu0); harmonic k keeps exp(-k^2 blur). 0 =
  /// as learnt; negative where they stand wider apart and show sharper.
  Sample at(double phase_cycles, float blur = 0) const {
    double u = phase_cycles - static_cast<double>(static_cast<long long>(phase_cycles));
    if (u < 0) u += 1;
    u *= table_size;
    const auto i = static_cast<std::size_t>(u) & (table_size - 1);
    const float f = static_cast<float>(u - static_cast<double>(static_cast<long long>(u)));
    const auto in_table = [&](int level) {
      const Sample* table = this->level(level) + i;
      return Sample{table[0].value + f * (table[1].value - table[0].value),
                    table[0].derivative + f * (table[1].derivative - table[0].derivative)};
    };
    if (blur == 0) return in_table(0);
    const int levels = blur > 0 ? blurred_levels : sharper_levels;
    const float most = static_cast<float>(levels * levels) * level_unit;
    const float magnitude =
        std::abs(blur) < most ? std::abs(blur) : most;  // a wild fit may ask for anything, or NaN
    const int below = std::min(static_cast<int>(std::sqrt(magnitude / level_unit)), levels - 1);
    const float from = static_cast<float>(below * below) * level_unit;
    const float g = (magnitude - from) / (static_cast<float>(2 * below + 1) * level_unit);
    const int sign = blur > 0 ? 1 : -1;
    const Sample a = in_table(sign * below), b = in_table(sign * (below + 1));
    return {a.value + g * (b.value - a.value), a.derivative + g * (b.derivative - a.derivative)};
  }
  float value(double phase_cycles, float blur = 0) const { return at(phase_cycles, blur).value; }

  // What kernels that look up many phases at once need to know of the tables.
  static constexpr int table_size = 512,
                       table_stride = table_size + 1;  ///< the first entry stands again at the end
  static constexpr float level_unit =
      4.5e-3F;  ///< level n stands for a blur of n |n| units, and it is linear between
  static constexpr int blurred_levels = 32;  ///< up to 4.6, where a stripe of 1 % contrast is left
  static constexpr int sharper_levels = 4;
  /// One period at a level of blur, -sharper_levels to blurred_levels; the next level follows `table_stride`
  /// further on.
  const Sample* level(int level) const { return tables_.data() + (level + sharper_levels) * table_stride; }

 private:
  static constexpr int harmonics = 40;  ///< edges of a fiftieth of a period: pitch 25 mm, seen sharply
  std::vector<Sample> tables_;
  static StripeProfile from_coefficients(const std::vector<double>& cosine, const std::vector<double>& sine,
                                         double mean);
};

}  // namespace ripplegauge
