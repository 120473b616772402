#include "compare/relief_difference.hpp"

#include <cmath>

#include "catch.hpp"
#include "scene.hpp"

using namespace ripplegauge;
using namespace ripplegauge::test;

namespace {

const Dent low = spot(Kind::low, 40, 50, 0.5, 20);

}  // namespace

TEST_CASE("heights between grid points are linear", "[relief_difference]") {
  Relief plane;
  plane.x0_mm = 10;
  plane.y0_mm = -5;
  plane.step_mm = 2;
  plane.columns = 4;
  plane.rows = 3;
  for (int row = 0; row < 3; ++row)
    for (int column = 0; column < 4; ++column)
      plane.height_mm.push_back(static_cast<float>(0.25 * column - 0.5 * row));
  CHECK(height_at(plane, {10, -5}) == 0);
  CHECK(height_at(plane, {13, -4}) == Approx(0.25 * 1.5 - 0.5 * 0.5));
  CHECK(height_at(plane, {16, -1}) == Approx(0.75 - 1.0));  // the last point belongs to it
  CHECK(std::isnan(height_at(plane, {16.01, -1})));
  CHECK(std::isnan(height_at(plane, {9.99, -5})));
  CHECK(std::isnan(height_at(plane, {std::nan(""), 0})));
  CHECK(std::isnan(height_at(Relief{}, {0, 0})));
  plane.at(1, 1) = std::numeric_limits<float>::quiet_NaN();
  CHECK(std::isnan(height_at(plane, {11, -4})));
  CHECK(height_at(plane, {10, -4}) == Approx(-0.25));  // on the line beside it
}

TEST_CASE("a relief differs from itself by nothing", "[relief_difference]") {
  const Relief relief = relief_of({low}, 0.01);
  const Relief difference = difference_of(on_one_grid(relief, relief, {}));
  REQUIRE(difference.height_mm.size() == relief.height_mm.size());
  for (const float height : difference.height_mm) REQUIRE(height == 0);
}

TEST_CASE("the difference is positive where the surface came up", "[relief_difference]") {
  const Relief difference =
      difference_of(on_one_grid(relief_of({low}), relief_of({spot(Kind::low, 40, 50, 0.2, 20)}), {}));
  CHECK(height_at(difference, {40, 50}) == Approx(0.3).margin(1e-6));  // float
  CHECK(height_at(difference, {90, 80}) == Approx(0).margin(1e-6));
}

TEST_CASE("a moved card is undone before the difference", "[relief_difference]") {
  const CardMotion motion{20, 15, -10};
  const ReliefPair pair = on_one_grid(relief_of({low}), relief_of(seen_from(motion, {low})), motion);
  const Relief difference = difference_of(pair);
  REQUIRE(difference.columns > 201);  // both grids are covered
  for (const float height : difference.height_mm) {
    // Bilinear, twice, between points 0.5 mm apart on a 20 mm spot: h'' step^2 / 8 = 0.5 / 4.66^2 / 32 each.
    REQUIRE(std::abs(height) < 0.0015);
  }
}

TEST_CASE("beyond a relief nothing was found, so the difference is the other one", "[relief_difference]") {
  Relief small = relief_of({});
  small.x0_mm = 35;
  small.y0_mm = 45;
  small.columns = small.rows = 21;
  small.height_mm.assign(21 * 21, -0.1f);
  const Relief difference =
      difference_of(on_one_grid(relief_of({spot(Kind::low, 80, 20, 0.3, 12)}), small, {}));
  CHECK(height_at(difference, {40, 50}) == Approx(-0.1));
  CHECK(height_at(difference, {80, 20}) == Approx(0.3));
  CHECK(height_at(difference_of(on_one_grid(small, Relief{}, {})), {40, 50}) == Approx(0.1));
  CHECK(on_one_grid({}, {}, {}).before.empty());
}

TEST_CASE("a place is seen, not seen, or out of reach", "[relief_difference]") {
  Relief relief = relief_of({});
  CHECK(seen(relief, {40, 50}, low, 0.8) == Seen::yes);
  CHECK(seen(relief, {0, 50}, low, 0.8) == Seen::unknown);
  CHECK(seen(Relief{}, {40, 50}, low, 0.8) == Seen::unknown);
  Dent square = low;
  square.outline = {{30, 40}, {50, 40}, {50, 60}, {30, 60}};
  for (int row = 0; row < relief.rows; ++row)
    for (int column = 0; column < 80; ++column)
      relief.at(row, column) = std::numeric_limits<float>::quiet_NaN();
  CHECK(seen(relief, {40, 50}, square, 0.8) == Seen::no);
  CHECK(seen(relief, {40, 50}, square, 0.45) == Seen::yes);  // half of it
}

TEST_CASE("scatter is that of the panel, not of the spots", "[relief_difference]") {
  const auto scatter = scatter_mm(relief_of({low}, 0.01), {40, 50}, 40, {low});
  REQUIRE(scatter);
  CHECK(*scatter ==
        Approx(0.01).epsilon(0.35));  // the median deviation of an even scatter is 1.28 times that
  CHECK_FALSE(scatter_mm(relief_of({}), {40, 50}, 40, {}));
  CHECK_FALSE(scatter_mm(Relief{}, {40, 50}, 40, {}));
}

TEST_CASE("sections of before and after lie over each other", "[relief_difference]") {
  const Dent less = spot(Kind::low, 40, 50, 0.2, 20);
  const auto section = compared_section(low, relief_of({low}), &less, relief_of({less}), {}, false);
  REQUIRE(section.size() == 121);
  CHECK(section[60].along_mm == Approx(0).margin(1e-9));
  CHECK(section[60].before_mm == Approx(-0.5).epsilon(0.01));
  CHECK(section[60].after_mm == Approx(-0.2).epsilon(0.01));
  CHECK(section.front().along_mm == Approx(-30));

  Dent stored = low;
  stored.section = {{-10, 0}, {0, -0.5}, {10, 0}};
  const auto from_readings = compared_section(stored, {}, nullptr, {}, {}, false);
  REQUIRE(from_readings.size() == 121);
  CHECK(from_readings[60].before_mm == Approx(-0.5));
  CHECK(std::isnan(from_readings[60].after_mm));
  CHECK(compared_section(stored, {}, nullptr, {}, {}, true)[60].after_mm == 0);
  CHECK(compared_section(low, {}, nullptr, {}, {}, true).empty());
}
