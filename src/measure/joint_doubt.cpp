// Noise, orange peel and geometry leave a valley of dents that explain all photos alike. Its extent is the
// interval.
#include "joint_doubt.hpp"

#include <algorithm>
#include <cmath>
#include <random>
#include <utility>

#include "core/parallel_for.hpp"
#include "free_shape.hpp"

namespace ripplegauge {

PeelLooks peel_looks(const std::vector<SetLook>& looks, const std::vector<SpotJudgement>& judgements) {
  Eigen::Matrix2d seen = Eigen::Matrix2d::Zero(), strong = Eigen::Matrix2d::Zero();
  double sum = 0;
  for (std::size_t i = 0; i < looks.size(); ++i) {
    const SpotJudgement& j = judgements[i];
    constexpr double nearly_all = 0.98;
    const double share = std::clamp(j.looks / std::max(j.peel_cells, 1e-9), 1e-6, nearly_all);
    const Eigen::Vector2d way = looks[i].gain.normalized();
    const double weight = -std::log1p(-share), squared = j.moved_snr * j.moved_snr;
    seen += weight * way * way.transpose();
    strong += weight * squared * way * way.transpose();
    sum += share;
  }
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> axes(seen);
  PeelLooks out;
  double differ = 0;
  for (int k = 0; k < 2; ++k) {
    const double weight = std::max(axes.eigenvalues()[k], 0.0);
    if (weight < 1e-9) continue;
    const Eigen::Vector2d way = axes.eigenvectors().col(k);
    const double share = -std::expm1(-weight);
    differ += share;
    out.squared_snr += share * way.dot(strong * way) / weight;
  }
  out.counted_twice = std::max(1.0, sum / std::max(differ, 1e-9));
  return out;
}

namespace {

SpotNumbers numbers_of_parts(const Parts& parts, const Parts& where) {
  const Relief map = draw_at(parts, where, spread_cells);
  return numbers_of(measure_spot(map), map);
}

/// The root of a precision matrix of sums of single-precision terms, which rounding may leave a little less
/// than definite: its diagonal then grows by as little as helps.
Eigen::LLT<Eigen::MatrixXd> root_of(Eigen::MatrixXd precision) {
  precision.diagonal().array() += 1e-9;
  Eigen::LLT<Eigen::MatrixXd> root(precision);
  for (double share = 1e-9; root.info() != Eigen::Success && share < 1; share *= 10) {
    precision.diagonal() *= 1 + share;
    root.compute(precision);
  }
  return root;
}

/// Mean square over draws of the spots from a normal law about the best, some unknowns held.
SpotNumbers drawn_spread(const Eigen::MatrixXd& hessian, const std::vector<int>& free, const Parts& best,
                         const SpotNumbers& own, int threads) {
  constexpr std::size_t draws = 16;
  const auto n = static_cast<Eigen::Index>(free.size());
  Eigen::MatrixXd precision(n, n);
  for (Eigen::Index i = 0; i < n; ++i)
    for (Eigen::Index k = 0; k < n; ++k)
      precision(i, k) = hessian(free[static_cast<std::size_t>(i)], free[static_cast<std::size_t>(k)]);
  const Eigen::LLT<Eigen::MatrixXd> root = root_of(precision);
  std::mt19937 random(11);
  std::normal_distribution<double> normal;
  std::vector<Eigen::VectorXd> drawn(draws, Eigen::VectorXd(n));
  for (Eigen::VectorXd& z : drawn)
    for (double& value : z) value = normal(random);
  std::vector<SpotNumbers> off(draws);
  parallel_for(draws, threads, [&](std::size_t d) {
    const Eigen::VectorXd step = root.matrixU().solve(drawn[d]);
    Parts parts = best;
    for (Eigen::Index i = 0; i < n; ++i) {
      const int at = free[static_cast<std::size_t>(i)];
      if (at < spot_parameters * static_cast<int>(best.size()))
        parts[static_cast<std::size_t>(at / spot_parameters)][at % spot_parameters] += step[i];
    }
    constexpr double far = 0.5;
    off[d] = off_by(numbers_of_parts(parts, best), own).cwiseMin(far).cwiseMax(-far);
  });
  SpotNumbers variance = SpotNumbers::Zero();
  for (const SpotNumbers& o : off) variance += o.cwiseAbs2() / static_cast<double>(draws);
  return variance;
}

}  // namespace

Spread spread_of(std::vector<SetLook> looks, const Parts& best, bool highlight, int threads) {
  for (SetLook& look : looks) look.patch.effective_pixel_share /= look.noise_times;
  const JointPolish polish(looks, threads);
  constexpr std::size_t enough = 3000;
  constexpr int steps_to_settle = 10;
  const JointFit middle = polish.run(best, enough, highlight, steps_to_settle, 1e-5);
  const SpotNumbers own = numbers_of_parts(middle.spots, best);
  const int shapes = spot_parameters * static_cast<int>(best.size());
  const auto indices = [&](int to, bool height) {
    std::vector<int> all;
    for (int i = 0; i < to; ++i)
      if (height || i != s_height) all.push_back(i);
    return all;
  };
  const int everything = static_cast<int>(middle.hessian.rows());
  Spread out;
  out.noise = drawn_spread(middle.hessian, indices(shapes, true), middle.spots, own, threads).cwiseSqrt();
  if (best.size() > 1) {
    out.all = drawn_spread(middle.hessian, indices(everything, true), middle.spots, own, threads).cwiseSqrt();
    return out;
  }
  const Eigen::VectorXd by_height = middle.hessian.ldlt().solve(Eigen::VectorXd::Unit(everything, s_height));
  const double sd = std::sqrt(std::max(by_height[s_height], 0.0)) / std::abs(middle.spots[0][s_height]);
  constexpr double step_sd = 1, negligible = 4;
  constexpr int most_steps = 6;
  const double ratio = 1 + std::clamp(step_sd * sd, 0.001, 0.2);
  std::vector<std::pair<JointFit, SpotNumbers>> alike;
  const auto fitted = [&](Parts at, double step) {
    at[0][s_height] *= step;
    JointFit fit = polish.run(at, enough, highlight, steps_to_settle, 3e-5, true);
    const SpotNumbers off = off_by(numbers_of_parts(fit.spots, best), own);
    alike.emplace_back(fit, off);
    return fit;
  };
  double least = fitted(middle.spots, 1).cost;
  for (const double step : {1 / ratio, ratio}) {
    Parts at = middle.spots;
    double cost = least;
    for (int i = 0; i < most_steps && cost < least + negligible; ++i) {
      const JointFit fit = fitted(at, step);
      at = fit.spots, cost = fit.cost;
      least = std::min(least, cost);
    }
  }
  double weights = 0;
  SpotNumbers variance = SpotNumbers::Zero();
  for (const auto& [fit, off] : alike) {
    const double weight = std::exp(least - fit.cost);
    weights += weight, variance += weight * off.cwiseAbs2();
  }
  variance /= weights;
  variance += drawn_spread(middle.hessian, indices(everything, false), middle.spots, own, threads);
  out.all = variance.cwiseSqrt();
  return out;
}

Against against(const SetLook& joint, const Parts& parts, const std::vector<Parts>& starts, bool highlight) {
  std::vector<SetLook> one{joint};
  one[0].patch.effective_pixel_share /= joint.noise_times;
  const JointPolish polish(one, 1);
  constexpr std::size_t enough = 3000;
  constexpr int iterations = 15;
  const double together = polish.run(parts, enough, highlight, 0, 1).view_costs[0];
  Parts flat = parts;
  for (SpotVector& part : flat) part[s_height] = 0;
  Against out{together - polish.run(flat, enough, highlight, 0, 1).view_costs[0], std::nullopt};
  std::vector<Parts> tried{parts};
  tried.insert(tried.end(), starts.begin(), starts.end());
  for (const Parts& start : tried) {
    const JointFit fit = polish.run(start, enough, highlight, iterations, 1e-5);
    const double by = together - fit.view_costs[0];
    if (by <= out.by) continue;
    out.by = by;
    Parts seen;
    for (const SpotVector& part : fit.spots) seen.push_back(seen_with(fit.shifts[0], part));
    out.alone = measure_spot(draw_at(seen, seen, spread_cells));
  }
  return out;
}

}  // namespace ripplegauge
