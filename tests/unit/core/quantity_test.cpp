#include "ripplegauge/core/quantity.hpp"

#include <cmath>

#include "catch.hpp"
#include "core/dual.hpp"

using namespace ripplegauge;

TEST_CASE("a quantity straddles a threshold only inside its interval", "[quantity]") {
  const Quantity quantity{10, 9, 11};
  CHECK(quantity.straddles(9.5));
  CHECK_FALSE(quantity.straddles(9.0));
  CHECK_FALSE(quantity.straddles(12.0));
}

TEST_CASE("an interval is clamped at its floor", "[quantity]") {
  const Quantity quantity = quantity_from_standard_uncertainty(1.0, 1.0, 2.0, 0.0);
  CHECK(quantity.low == 0.0);
  CHECK(quantity.high == 3.0);
}

TEST_CASE("convention: an interval is 95 %, two standard uncertainties to each side",
          "[conventions][quantity]") {
  const Quantity quantity = quantity_from_standard_uncertainty(10, 0.5);
  CHECK(quantity.low == 9);
  CHECK(quantity.high == 11);
}

TEST_CASE("the end gauge of JCGM 100: sensitivities by duals, combined uncertainty, expanded interval",
          "[quantity][dual]") {
  // JCGM 100:2008, Annex H.1 (as in the documentation of GTC, github.com/MSLNZ/GTC, docs/API/GUM_H1.rst):
  // l = lS + d - lS (dalpha theta + alphaS dtheta); nanometres, degrees Celsius.
  struct Input {
    double value, standard_uncertainty;
  };
  constexpr Input inputs[6] = {{50000623, 25}, {215, 9.7},   {11.5e-6, 1.2e-6},
                               {-0.1, 0.41},   {0, 0.58e-6}, {0, 0.029}};
  const auto x = [&](int i) { return Dual<6>::variable(inputs[i].value, i); };
  const Dual<6> length = x(0) + x(1) - x(0) * (x(4) * x(3) + x(2) * x(5));
  double variance = 0;
  for (int i = 0; i < 6; ++i) variance += std::pow(length.gradient[i] * inputs[i].standard_uncertainty, 2);
  CHECK(length.value == Approx(50000838).margin(0.5));
  CHECK(std::sqrt(variance) == Approx(31.71).margin(0.005));  // printed as 32 nm; recomputed
  // Effective degrees of freedom 16, level of confidence 99 %: k = 2.92 (Table G.2), U = 93 nm.
  const Quantity expanded = quantity_from_standard_uncertainty(length.value, std::sqrt(variance), 2.92);
  CHECK(expanded.half_width() == Approx(93).margin(0.5));
}
