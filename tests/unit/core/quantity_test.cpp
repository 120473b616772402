#include "ripplegauge/core/quantity.hpp"

#include "catch.hpp"

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
