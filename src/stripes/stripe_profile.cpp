// The stripes' brightness over one period as a Fourier series, so that blur is a factor on each harmonic.
#include "stripes/stripe_profile.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

namespace ripplegauge {
namespace {

constexpr double two_pi = 2 * std::numbers::pi;

/// Mean value in every bin of phase; linear over bins that saw nothing.
struct Binned {
  std::vector<double> mean;
  double scatter = 0;  ///< variance of values within a bin
};

Binned bin_by_phase(const std::vector<float>& phase_cycles, const std::vector<float>& value, int bins) {
  std::vector<double> count(static_cast<std::size_t>(bins)), sum(count), squares(count);
  for (std::size_t i = 0; i < value.size(); ++i) {
    const double u = phase_cycles[i] - std::floor(phase_cycles[i]);
    const auto bin = static_cast<std::size_t>(u * bins) % static_cast<std::size_t>(bins);
    count[bin] += 1, sum[bin] += value[i], squares[bin] += static_cast<double>(value[i]) * value[i];
  }
  Binned binned;
  double within = 0, degrees = 0;
  for (std::size_t b = 0; b < count.size(); ++b)
    if (count[b] > 1) within += squares[b] - sum[b] * sum[b] / count[b], degrees += count[b] - 1;
  binned.scatter = degrees > 0 ? within / degrees : 0;
  const auto wrapped = [&](int b) { return static_cast<std::size_t>((b % bins + bins) % bins); };
  for (int b = 0; b < bins; ++b) {
    int left = 0, right = 0;
    while (count[wrapped(b - left)] == 0 && left < bins) ++left;
    while (count[wrapped(b + right)] == 0 && right < bins) ++right;
    if (left == bins) break;
    const double l = sum[wrapped(b - left)] / count[wrapped(b - left)],
                 r = sum[wrapped(b + right)] / count[wrapped(b + right)];
    binned.mean.push_back(left + right == 0 ? l : (l * right + r * left) / (left + right));
  }
  binned.mean.resize(static_cast<std::size_t>(bins));
  return binned;
}

}  // namespace

StripeProfile StripeProfile::from_coefficients(const std::vector<double>& cosine,
                                               const std::vector<double>& sine, double mean) {
  std::array<double, table_size> wave{};  // one period of a cosine
  for (std::size_t i = 0; i < table_size; ++i)
    wave[i] = std::cos(two_pi * static_cast<double>(i) / table_size);
  // What every harmonic adds where nothing is blurred; the derivative over 2 pi times its order.
  std::vector<double> adds(cosine.size() * table_size), turns(adds.size());
  for (std::size_t k = 0; k < cosine.size(); ++k)
    for (std::size_t i = 0; i < table_size; ++i) {
      const double c = wave[(k + 1) * i % table_size],
                   s = wave[((k + 1) * i + table_size * 3 / 4) % table_size];
      adds[k * table_size + i] = cosine[k] * c + sine[k] * s;
      turns[k * table_size + i] = sine[k] * c - cosine[k] * s;
    }
  std::vector<double> value(table_size), derivative(table_size);
  const auto tabulate = [&](double blur) {
    std::fill(value.begin(), value.end(), mean);
    std::fill(derivative.begin(), derivative.end(), 0.0);
    for (std::size_t k = 0; k < cosine.size(); ++k) {
      const double order = static_cast<double>(k + 1);
      // Sharper than learnt: what blur took is given back to the harmonics that still show, not to noise.
      constexpr double most_given_back = 1;
      const double keep = std::exp(std::min(-order * order * blur, most_given_back)),
                   keep_turn = keep * two_pi * order;
      if (keep < 1e-6) break;
      const double *add = &adds[k * table_size], *turn = &turns[k * table_size];
      for (std::size_t i = 0; i < table_size; ++i)
        value[i] += keep * add[i], derivative[i] += keep_turn * turn[i];
    }
  };
  tabulate(0);
  std::vector<double> sorted = value;
  std::sort(sorted.begin(), sorted.end());
  const double dark = sorted[table_size / 20], light = sorted[table_size - table_size / 20];
  const double half = std::max(0.5 * (light - dark), 1e-6), middle = 0.5 * (light + dark);
  StripeProfile profile;
  profile.tables_.reserve((sharper_levels + 1 + blurred_levels) * table_stride);
  for (int level = -sharper_levels; level <= blurred_levels; ++level) {
    tabulate(static_cast<double>(level_unit) * level * std::abs(level));
    for (std::size_t k = 0; k < table_stride; ++k) {
      const std::size_t i = k % table_size;
      profile.tables_.push_back(
          {static_cast<float>((value[i] - middle) / half), static_cast<float>(derivative[i] / half)});
    }
  }
  return profile;
}

StripeProfile StripeProfile::cosine() { return from_coefficients({1.0}, {0.0}, 0.0); }

StripeProfile StripeProfile::fit(const std::vector<float>& phase_cycles, const std::vector<float>& value) {
  constexpr int bins = 256;
  const Binned binned = bin_by_phase(phase_cycles, value, bins);
  // A coefficient is a mean over all samples of value times 2 cos or sin: its noise is theirs over the root
  // of how many are independent. Neighbours share blur and waves of orange peel.
  constexpr double independent_share = 0.1;
  const double noise =
      2 * binned.scatter / std::max(1.0, independent_share * static_cast<double>(value.size()));
  std::vector<double> cosine(harmonics), sine(harmonics);
  double mean = 0;
  for (const double m : binned.mean) mean += m / bins;
  for (std::size_t k = 0; k < harmonics; ++k) {
    const double order = static_cast<double>(k + 1);
    for (int b = 0; b < bins; ++b) {
      const double a = two_pi * order * (b + 0.5) / bins;
      cosine[k] += 2.0 / bins * binned.mean[static_cast<std::size_t>(b)] * std::cos(a);
      sine[k] += 2.0 / bins * binned.mean[static_cast<std::size_t>(b)] * std::sin(a);
    }
    const double power = cosine[k] * cosine[k] + sine[k] * sine[k];
    const double half_bin = std::numbers::pi * order / bins;
    const double unbinned = half_bin / std::sin(half_bin);  // a bin's mean takes this off
    const double keep = unbinned * std::max(0.0, 1 - 2 * noise / std::max(power, 1e-30));
    cosine[k] *= keep, sine[k] *= keep;
  }
  return from_coefficients(cosine, sine, mean);
}

}  // namespace ripplegauge
