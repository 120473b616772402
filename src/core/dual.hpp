// Forward-mode automatic differentiation: a number that carries its derivatives with respect to N parameters,
// so that a formula is written once and its Jacobian cannot disagree with it.
#pragma once

#include <Eigen/Core>
#include <cmath>

namespace ripplegauge {

template <int N>
struct Dual {
  using Gradient = Eigen::Matrix<double, N, 1>;
  double value = 0;
  Gradient gradient = Gradient::Zero();

  Dual() = default;
  Dual(double v) : value(v) {}  // NOLINT(google-explicit-constructor): constants mix freely with duals
  Dual(double v, const Gradient& g) : value(v), gradient(g) {}
  /// The independent variable number `index`.
  static Dual variable(double v, int index) {
    Dual d(v);
    d.gradient[index] = 1;
    return d;
  }

  Dual operator-() const { return {-value, -gradient}; }

  friend Dual operator+(const Dual& a, const Dual& b) { return {a.value + b.value, a.gradient + b.gradient}; }
  friend Dual operator-(const Dual& a, const Dual& b) { return {a.value - b.value, a.gradient - b.gradient}; }
  friend Dual operator*(const Dual& a, const Dual& b) {
    return {a.value * b.value, a.gradient * b.value + b.gradient * a.value};
  }
  friend Dual operator/(const Dual& a, const Dual& b) {
    const double q = a.value / b.value;
    return {q, (a.gradient - b.gradient * q) / b.value};
  }
  friend Dual operator+(const Dual& a, double b) { return {a.value + b, a.gradient}; }
  friend Dual operator+(double a, const Dual& b) { return {a + b.value, b.gradient}; }
  friend Dual operator-(const Dual& a, double b) { return {a.value - b, a.gradient}; }
  friend Dual operator-(double a, const Dual& b) { return {a - b.value, -b.gradient}; }
  friend Dual operator*(const Dual& a, double b) { return {a.value * b, a.gradient * b}; }
  friend Dual operator*(double a, const Dual& b) { return {a * b.value, b.gradient * a}; }
  friend Dual operator/(const Dual& a, double b) { return {a.value / b, a.gradient / b}; }

  friend Dual sqrt(const Dual& a) {
    const double s = std::sqrt(a.value);
    return {s, a.gradient * (0.5 / s)};
  }
  friend Dual exp(const Dual& a) {
    const double e = std::exp(a.value);
    return {e, a.gradient * e};
  }
  friend Dual log(const Dual& a) { return {std::log(a.value), a.gradient / a.value}; }
  friend Dual sin(const Dual& a) { return {std::sin(a.value), a.gradient * std::cos(a.value)}; }
  friend Dual cos(const Dual& a) { return {std::cos(a.value), a.gradient * -std::sin(a.value)}; }
};

/// The plain value of a number, dual or not.
inline double value_of(double a) { return a; }
template <int N>
double value_of(const Dual<N>& a) {
  return a.value;
}

}  // namespace ripplegauge
