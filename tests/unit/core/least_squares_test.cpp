#include "core/least_squares.hpp"

#include "catch.hpp"
#include "core/dual.hpp"

using namespace ripplegauge;

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

TEST_CASE("what stops at a bound makes the others go where they fit best without it", "[least_squares]") {
  // r = (x + y - 3, 2 (x - y)): free, x = y = 1.5; with x held at 1, (y - 2) = 4 (1 - y).
  const auto equations = [](const Eigen::VectorXd& x, bool, NormalEquations& out) {
    const Eigen::Vector2d r(x[0] + x[1] - 3, 2 * (x[0] - x[1]));
    Eigen::Matrix2d j;
    j << 1, 1, 2, -2;
    out.cost = 0.5 * r.squaredNorm();
    out.gradient = j.transpose() * r;
    out.hessian = j.transpose() * j;
  };
  LevenbergMarquardtOptions options;
  options.bounds = no_bounds(2);
  options.bounds.upper[0] = 1;
  for (const double start : {-4.0, 1.0, 7.0}) {  // 7 is beyond the bound
    Eigen::VectorXd x = Eigen::Vector2d(start, 9);
    minimise(equations, x, options);
    CHECK(x[0] == 1);
    CHECK(x[1] == Approx(1.2));
  }
  options.bounds.upper[0] = 2;  // nothing is in the way
  Eigen::VectorXd x = Eigen::Vector2d(-4, 9);
  minimise(equations, x, options);
  CHECK(x[0] == Approx(1.5));
  CHECK(x[1] == Approx(1.5));
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
