// Levenberg-Marquardt on normal equations. The caller sums them, with its own weights.
#include "core/least_squares.hpp"

#include <Eigen/Cholesky>
#include <algorithm>
#include <cmath>
#include <limits>
#include <vector>

#include "core/expects.hpp"

namespace ripplegauge {
namespace {

/// The step that solves the equations as far as `least` and `most` let it go. What would cross one of them
/// stops there, and the others are solved for anew: they must not make room for a move that does not come.
Eigen::VectorXd step_within(const Eigen::MatrixXd& hessian, const Eigen::VectorXd& gradient,
                            const Eigen::VectorXd& least, const Eigen::VectorXd& most) {
  Eigen::MatrixXd left = hessian;
  Eigen::VectorXd right = -gradient;
  std::vector<bool> stopped(static_cast<std::size_t>(gradient.size()), false);
  for (;;) {
    const Eigen::VectorXd step = left.ldlt().solve(right);
    bool crossed = false;
    for (Eigen::Index i = 0; i < step.size(); ++i) {
      const double kept = std::clamp(step[i], least[i], most[i]);
      if (stopped[static_cast<std::size_t>(i)] || kept == step[i]) continue;
      stopped[static_cast<std::size_t>(i)] = crossed = true;
      right -= kept * left.col(i);
      left.row(i).setZero();
      left.col(i).setZero();
      left(i, i) = 1;
      right[i] = kept;
    }
    if (!crossed) return step.cwiseMax(least).cwiseMin(most);
  }
}

}  // namespace

ParameterBounds no_bounds(Eigen::Index size) {
  constexpr double none = std::numeric_limits<double>::infinity();
  return {Eigen::VectorXd::Constant(size, -none), Eigen::VectorXd::Constant(size, none)};
}

LeastSquaresSummary minimise(const NormalEquationsFunction& equations, Eigen::VectorXd& x,
                             const LevenbergMarquardtOptions& options, Eigen::MatrixXd* hessian_out) {
  const int size = static_cast<int>(x.size());
  expects(size > 0, "a parameter to fit");
  expects(options.max_iterations >= 0, "no fewer than no iterations");
  const bool bounded = options.bounds.lower.size() > 0;
  expects(!bounded || (options.bounds.lower.size() == size && options.bounds.upper.size() == size),
          "bounds of all or none");
  if (bounded) x = x.cwiseMax(options.bounds.lower).cwiseMin(options.bounds.upper);
  NormalEquations here(size), there(size);
  equations(x, true, here);
  LeastSquaresSummary summary{.initial_cost = here.cost, .final_cost = here.cost};
  double damping = options.initial_damping;
  constexpr double max_damping = 1e8;  // a step this damped no longer moves anything: we stand in a minimum

  while (summary.iterations < options.max_iterations && damping < max_damping && std::isfinite(here.cost)) {
    ++summary.iterations;
    Eigen::MatrixXd damped = here.hessian;
    damped.diagonal() += damping * here.hessian.diagonal();
    // A parameter that nothing depends on must not make the matrix singular; parameters differ in scale by
    // any factor.
    for (int i = 0; i < size; ++i)
      if (!(damped(i, i) > 0)) damped(i, i) = 1;
    const Eigen::VectorXd step =
        bounded ? step_within(damped, here.gradient, options.bounds.lower - x, options.bounds.upper - x)
                : -damped.ldlt().solve(here.gradient);
    const Eigen::VectorXd candidate = x + step;
    there.reset(size);
    equations(candidate, false, there);
    if (!(there.cost < here.cost)) {
      // What little the equations promise is not there, either (as in MINPACK's test of predicted
      // reductions): where a step was refused, a tenth of it is much.
      constexpr double kept = 0.1;
      const double promised = -step.dot(here.gradient) - 0.5 * step.dot(here.hessian * step);
      summary.converged = kept * promised < options.relative_cost_tolerance * here.cost;
      if (summary.converged) break;
      damping *= 8;
      continue;
    }
    const double gain = here.cost - there.cost;
    x = candidate;
    summary.converged = gain < options.relative_cost_tolerance * there.cost;
    const bool last = summary.converged || summary.iterations == options.max_iterations;
    if (last && hessian_out == nullptr) {  // no further step: nobody asks for derivatives
      here.cost = there.cost;
      break;
    }
    here.reset(size);
    equations(x, true, here);
    damping = std::max(damping / 6, 1e-12);
    if (summary.converged) break;
  }
  summary.converged = summary.converged || damping >= max_damping;
  summary.final_cost = here.cost;
  if (hessian_out != nullptr) *hessian_out = here.hessian;
  return summary;
}

}  // namespace ripplegauge
