#include "ripplegauge/core/least_squares.hpp"

#include "catch.hpp"
#include "ripplegauge/core/dual.hpp"

using namespace ripplegauge;

TEST_CASE("NIST Misra1a: certified non-linear fit", "[least_squares]") {
  // NIST StRD, Misra1a (monomolecular adsorption): b1 = 238.94212918, b2 = 5.5015643181e-4. Data from memory; they
  // reproduce the certified values.
  const double y[] = {10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78};
  const double x[] = {77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0};
  const auto equations = [&](const Eigen::VectorXd& b, bool, NormalEquations& out) {
    for (int i = 0; i < 14; ++i) {
      const Dual<2> b1 = Dual<2>::variable(b[0], 0), b2 = Dual<2>::variable(b[1], 1);
      const Dual<2> r = b1 * (1.0 - exp(-b2 * x[i])) - y[i];
      out.cost += 0.5 * r.value * r.value;
      out.gradient += r.value * r.gradient;
      out.hessian += r.gradient * r.gradient.transpose();
    }
  };
  Eigen::VectorXd b(2);
  b << 500, 1e-4;  // NIST's start 1
  const auto summary = minimise(equations, b, {.max_iterations = 200, .relative_cost_tolerance = 1e-14});
  CHECK(summary.final_cost < summary.initial_cost);
  CHECK(b[0] == Approx(238.94212918).epsilon(1e-6));
  CHECK(b[1] == Approx(5.5015643181e-4).epsilon(1e-6));
}

TEST_CASE("a prior pulls with its own weight", "[least_squares]") {
  const auto equations = [](const Eigen::VectorXd& x, bool, NormalEquations& out) {
    out.add_prior(0, x[0], 1.0, 0.1);
    out.add_prior(0, x[0], 2.0, 0.2);
  };
  Eigen::VectorXd x(1);
  x << 0;
  minimise(equations, x);
  CHECK(x[0] == Approx((1.0 / 0.01 + 2.0 / 0.04) / (1 / 0.01 + 1 / 0.04)));
}

TEST_CASE("duals differentiate what differences do", "[dual]") {
  const auto f = [](const auto& a, const auto& b) {
    using std::cos, std::exp, std::log, std::sin, std::sqrt;
    return sin(a) * exp(b) / sqrt(a + b) - log(a * b) + cos(b) * (2.0 - a);
  };
  const double a = 0.7, b = 1.3, h = 1e-6;
  const auto d = f(Dual<2>::variable(a, 0), Dual<2>::variable(b, 1));
  CHECK(d.value == Approx(f(a, b)));
  CHECK(d.gradient[0] == Approx((f(a + h, b) - f(a - h, b)) / (2 * h)).epsilon(1e-6));
  CHECK(d.gradient[1] == Approx((f(a, b + h) - f(a, b - h)) / (2 * h)).epsilon(1e-6));
}
