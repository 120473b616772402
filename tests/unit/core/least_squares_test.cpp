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
