#include "ripplegauge/dents/spot_shape.hpp"

#include "catch.hpp"

using namespace ripplegauge;

TEST_CASE("a spot's slopes and bends are the derivatives of its height and slopes", "[dents]") {
  SpotVector v;
  v << 10, 20, std::log(6.0), std::log(4.0), 0.4, -0.3, std::log(2.3), std::log(5.0), 0.1, -0.05;
  const SpotShape<double> shape(v);
  constexpr double h = 1e-4;  // mm; central differences are then good to 1e-7
  for (const auto& [x, y] : {std::pair{11.0, 21.0}, {14.0, 18.0}, {8.0, 23.5}, {10.5, 19.0}}) {
    const auto at = shape.at(x, y);
    const auto east = shape.at(x + h, y), west = shape.at(x - h, y), north = shape.at(x, y + h), south = shape.at(x, y - h);
    CHECK(at.slope_x == Approx((east.z - west.z) / (2 * h)).margin(1e-6));
    CHECK(at.slope_y == Approx((north.z - south.z) / (2 * h)).margin(1e-6));
    const SpotBend bend = shape.bend_at(x, y);
    CHECK(bend.xx == Approx((east.slope_x - west.slope_x) / (2 * h)).margin(1e-6));
    CHECK(bend.xy == Approx((east.slope_y - west.slope_y) / (2 * h)).margin(1e-6));
    CHECK(bend.yy == Approx((north.slope_y - south.slope_y) / (2 * h)).margin(1e-6));
  }
}
