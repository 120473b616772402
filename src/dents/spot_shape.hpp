// A ten-parameter spot: the start from which the free surface is let go. Here is the definition of the
// family; the arithmetic over arrays (src/dents/spot_kernel.cpp) and the tables of the radial search repeat
// it for speed, and tests hold them against it.
//
// A new parameter: 1. SpotParameter, and the formula in SpotShape; 2. kernel::Spot, its height, relief and
// rows (spot_kernel), and kernel_spot; 3. its bounds in `clamped`, what is expected of it in `shape_priors`,
// and `all_parameters` (spot_problem.cpp); 4. its start value in RadialSearch::run. A new start shape is one
// more UnitSpot in few_shapes (fit_cascade.cpp).
#pragma once

#include <Eigen/Core>
#include <algorithm>
#include <cmath>

#include "core/dual.hpp"

namespace ripplegauge {

/// h = height (1 - c rho^p)^n inside, 0 outside, with rho an elliptic radius with two slants, scaled so that
/// rho = 1 is the contour at a tenth of the height. p = 2, n large is a Gaussian; n = 2, the least, a
/// flat-footed polynomial; p > 2 a flat bottom.
enum SpotParameter : int {
  s_x = 0,
  s_y,
  s_log_a,
  s_log_b,
  s_angle,
  s_height,
  s_log_p,
  s_log_n,
  s_slant_u,
  s_slant_v,
  spot_parameters
};
/// c in the formula: where the height is a tenth, rho is 1.
inline double rim_share(double order) { return -std::expm1(-std::log(10.0) / order); }

using SpotVector = Eigen::Matrix<double, spot_parameters, 1>;
using SpotDual = Dual<spot_parameters>;

template <class T>
struct SpotValue {
  T z = 0, slope_x = 0, slope_y = 0;
};

/// A parameter set made ready for evaluation.
template <class T>
class SpotShape {
 public:
  explicit SpotShape(const SpotVector& v) {
    using std::cos;
    using std::exp;
    using std::log;
    using std::sin;
    const auto p = [&](int i) {
      if constexpr (std::is_same_v<T, double>)
        return v[i];
      else
        return T::variable(v[i], i);
    };
    x_ = p(s_x), y_ = p(s_y);
    inverse_a_ = exp(-p(s_log_a)), inverse_b_ = exp(-p(s_log_b));
    cos_ = cos(p(s_angle)), sin_ = sin(p(s_angle));
    height_ = p(s_height);
    power_ = exp(p(s_log_p)), order_ = exp(p(s_log_n));
    rim_ = 1.0 - exp(-std::log(10.0) / order_);
    slant_u_ = p(s_slant_u), slant_v_ = p(s_slant_v);
  }

  SpotValue<T> at(double x, double y) const {
    using std::exp;
    using std::log;
    using std::sqrt;
    const T dx = x - x_, dy = y - y_;
    const T u = (cos_ * dx + sin_ * dy) * inverse_a_, v = (cos_ * dy - sin_ * dx) * inverse_b_;
    const T r2 = u * u + v * v;
    constexpr double tiny = 1e-12;
    const T r = sqrt(r2 + tiny);
    const T rho = r + slant_u_ * u + slant_v_ * v;
    if (value_of(rho) < 1e-6) return {height_, T(0.0), T(0.0)};
    const T grown = rim_ * exp(power_ * log(rho));
    const T rest = 1.0 - grown;
    if (value_of(rest) < 1e-9) return {};
    const T foot = exp((order_ - 1.0) * log(rest));
    const T by_rho = -1.0 * (height_ * order_ * power_) * foot * grown / rho;
    const T by_u = by_rho * (u / r + slant_u_) * inverse_a_, by_v = by_rho * (v / r + slant_v_) * inverse_b_;
    return {height_ * foot * rest, cos_ * by_u - sin_ * by_v, sin_ * by_u + cos_ * by_v};
  }

 private:
  T x_, y_, inverse_a_, inverse_b_, cos_, sin_, height_, power_, order_, rim_, slant_u_, slant_v_;
};

inline double height_of(const SpotVector& spot, double x_mm, double y_mm) {
  return SpotShape<double>(spot).at(x_mm, y_mm).z;
}

/// Mean radius of the 10 % contour and largest slope, both approximate (exact for a round, unslanted spot).
inline double mean_radius_mm(const SpotVector& s) { return std::exp(0.5 * (s[s_log_a] + s[s_log_b])); }
/// Semi-axes of that contour.
inline double half_length_mm(const SpotVector& s) { return std::exp(std::max(s[s_log_a], s[s_log_b])); }
inline double half_width_mm(const SpotVector& s) { return std::exp(std::min(s[s_log_a], s[s_log_b])); }
inline double elongation(const SpotVector& s) { return std::exp(std::abs(s[s_log_a] - s[s_log_b])); }

}  // namespace ripplegauge
