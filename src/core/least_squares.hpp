// Robust non-linear least squares on normal equations.
#pragma once

#include <Eigen/Core>
#include <functional>

namespace ripplegauge {

/// Cauchy loss of a whitened residual r: cost log(1 + r^2) / 2 and the weight that makes Gauss-Newton on
/// weighted squares its gradient (iteratively re-weighted least squares).
inline double cauchy_cost(double r) { return 0.5 * std::log1p(r * r); }
inline double cauchy_weight(double r) { return 1.0 / (1.0 + r * r); }

/// Pseudo-Huber loss with scale s: squared for |r| << s, linear beyond (Charbonnier et al. 1997).
inline double pseudo_huber_cost(double r, double s) {
  return s * s * (std::sqrt(1.0 + r * r / (s * s)) - 1.0);
}
inline double pseudo_huber_weight(double r, double s) { return 1.0 / std::sqrt(1.0 + r * r / (s * s)); }

/// The normal equations of a problem at one point: cost, gradient J^T W r and Gauss-Newton matrix J^T W J.
struct NormalEquations {
  double cost = 0;
  Eigen::VectorXd gradient;
  Eigen::MatrixXd hessian;

  explicit NormalEquations(int size = 0) { reset(size); }
  void reset(int size) {
    cost = 0;
    gradient.setZero(size);
    hessian.setZero(size, size);
  }
  /// Adds a Gaussian prior: parameter `index` is `expected` with standard deviation `sigma`.
  void add_prior(int index, double value, double expected, double sigma) {
    const double r = (value - expected) / sigma;
    cost += 0.5 * r * r;
    gradient[index] += r / sigma;
    hessian(index, index) += 1.0 / (sigma * sigma);
  }
};

/// Infinite where there are none; empty where no parameter has any.
struct ParameterBounds {
  Eigen::VectorXd lower{}, upper{};
};

/// `size` parameters without bounds.
ParameterBounds no_bounds(Eigen::Index size);

struct LevenbergMarquardtOptions {
  int max_iterations = 30;
  double relative_cost_tolerance = 1e-7;  ///< stop when a step gains less than this share of the cost
  double initial_damping = 1e-4;          ///< times the diagonal of the Gauss-Newton matrix
  ParameterBounds bounds{};
};

struct LeastSquaresSummary {
  double initial_cost = -1;  ///< negative: not run
  double final_cost = -1;
  int iterations = 0;
  bool converged = false;
};

/// Fills the equations at x; with `with_derivatives` false only the cost is wanted.
using NormalEquationsFunction =
    std::function<void(const Eigen::VectorXd& x, bool with_derivatives, NormalEquations& out)>;

/// Levenberg-Marquardt with Marquardt's diagonal scaling (D. W. Marquardt, J. SIAM 11:431, 1963). Improves x
/// in place, within its bounds; x never gets worse. `hessian_out`, if given, receives the undamped matrix at
/// the solution.
LeastSquaresSummary minimise(const NormalEquationsFunction& equations, Eigen::VectorXd& x,
                             const LevenbergMarquardtOptions& options = {},
                             Eigen::MatrixXd* hessian_out = nullptr);

}  // namespace ripplegauge
