#include "ripplegauge/stripes/stripe_profile.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>
#include <numbers>

namespace ripplegauge {

StripeProfile StripeProfile::from_coefficients(const std::vector<double>& cosine, const std::vector<double>& sine,
                                               double mean) {
  const auto tabulate = [&](double blur, std::vector<double>& value, std::vector<double>& derivative) {
    for (int i = 0; i < table_size; ++i) {
      double v = mean, d = 0;
      for (std::size_t k = 0; k < cosine.size(); ++k) {
        const double order = static_cast<double>(k + 1), w = 2 * std::numbers::pi * order, a = w * i / table_size;
        const double keep = std::exp(-order * order * blur);
        v += keep * (cosine[k] * std::cos(a) + sine[k] * std::sin(a));
        d += keep * w * (sine[k] * std::cos(a) - cosine[k] * std::sin(a));
      }
      value[static_cast<std::size_t>(i)] = v;
      derivative[static_cast<std::size_t>(i)] = d;
    }
  };
  std::vector<double> value(table_size), derivative(table_size);
  tabulate(0, value, derivative);
  std::vector<double> sorted = value;
  std::sort(sorted.begin(), sorted.end());
  const double dark = sorted[table_size / 20], light = sorted[table_size - table_size / 20];
  const double half = std::max(0.5 * (light - dark), 1e-6), middle = 0.5 * (light + dark);
  StripeProfile profile;
  for (int level = 0; level < levels; ++level) {
    const double share = static_cast<double>(level) / (levels - 1);
    if (level > 0) tabulate(max_blur * share * share, value, derivative);
    auto& table = profile.tables_[static_cast<std::size_t>(level)];
    table.resize(table_size + 1);
    for (std::size_t i = 0; i < table_size; ++i)
      table[i] = {static_cast<float>((value[i] - middle) / half), static_cast<float>(derivative[i] / half)};
    table[table_size] = table[0];
  }
  return profile;
}

StripeProfile StripeProfile::cosine() { return from_coefficients({1.0}, {0.0}, 0.0); }

StripeProfile StripeProfile::fit(const std::vector<float>& phase_cycles, const std::vector<float>& value) {
  constexpr int size = 1 + 2 * harmonics;
  Eigen::MatrixXd normal = Eigen::MatrixXd::Zero(size, size);
  Eigen::VectorXd right = Eigen::VectorXd::Zero(size), row(size);
  for (std::size_t i = 0; i < phase_cycles.size(); ++i) {
    const double a = 2 * std::numbers::pi * phase_cycles[i], c = std::cos(a), s = std::sin(a);
    row[0] = 1;
    double ck = 1, sk = 0;
    for (int k = 0; k < harmonics; ++k) {
      const double next = ck * c - sk * s;
      sk = sk * c + ck * s;
      ck = next;
      row[1 + k] = ck;
      row[1 + harmonics + k] = sk;
    }
    normal.selfadjointView<Eigen::Lower>().rankUpdate(row);
    right += row * static_cast<double>(value[i]);
  }
  for (int k = 0; k < harmonics; ++k) {
    const double penalty = 1e-3 * static_cast<double>(phase_cycles.size()) * std::pow((k + 1.0) / harmonics, 4);
    normal(1 + k, 1 + k) += penalty;
    normal(1 + harmonics + k, 1 + harmonics + k) += penalty;
  }
  const Eigen::VectorXd x = normal.selfadjointView<Eigen::Lower>().ldlt().solve(right);
  std::vector<double> cosine(harmonics), sine(harmonics);
  for (int k = 0; k < harmonics; ++k) {
    cosine[static_cast<std::size_t>(k)] = x[1 + k];
    sine[static_cast<std::size_t>(k)] = x[1 + harmonics + k];
  }
  return from_coefficients(cosine, sine, x[0]);
}

}  // namespace ripplegauge
