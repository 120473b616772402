#include "core/vector_math.hpp"

#include <cmath>

#include "catch.hpp"

using namespace ripplegauge::kernel;

TEST_CASE(
    "the kernels' logarithm is the library's within 2 units in the last place, near 1 of the distance to 1",
    "[core]") {
  constexpr double unit = 1.2e-7;  // float's spacing over 1
  for (double x = 1e-30; x < 1e30; x *= 1.0037) {
    const auto f = static_cast<float>(x);
    const double exact = std::log2(static_cast<double>(f));
    INFO("x = " << x);
    CHECK(std::abs(log2_of(f) - exact) <= 2 * unit * std::abs(exact));
  }
  for (const float away : {1e-6F, -1e-6F, 1e-4F, -1e-3F, 0.01F, -0.25F, 0.4F}) {
    const float x = 1 + away;
    const double exact = std::log2(static_cast<double>(x));
    INFO("x = 1 + " << away);
    CHECK(std::abs(log2_of(x) - exact) <= 2 * unit * std::abs(exact));
  }
  CHECK(log2_of(1.0F) == 0.0F);
  CHECK(log2_of(8.0F) == 3.0F);
}

TEST_CASE("the kernels' exponential is the library's within 2 units in the last place over its range",
          "[core]") {
  constexpr double unit = 1.2e-7;
  for (double x = -126; x < 127; x += 0.0137) {
    const auto f = static_cast<float>(x);
    const double exact = std::exp2(static_cast<double>(f));
    INFO("x = " << x);
    CHECK(std::abs(exp2_of(f) - exact) <= 2 * unit * exact);
  }
  CHECK(exp2_of(0.0F) == 1.0F);
  CHECK(exp2_of(-126.0F) == 0x1p-126F);
}
