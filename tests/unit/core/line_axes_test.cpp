// Places beside and on a body line.
#include "core/line_axes.hpp"

#include <cmath>

#include "catch.hpp"

using namespace ripplegauge;

TEST_CASE("a place stands along a body line and off it, on whichever side", "[body_line]") {
  BodyLine line;
  line.x_mm = 10;
  line.y_mm = 20;
  line.angle_deg = 30;
  const LineAxes axes(line);
  const double c = std::sqrt(0.75), s = 0.5;
  for (const double off_mm : {-4.0, 4.0}) {
    const double x_mm = 10 + 7 * c - off_mm * s, y_mm = 20 + 7 * s + off_mm * c;
    CHECK(axes.along_mm(x_mm, y_mm) == Approx(7));
    CHECK(axes.off_mm(x_mm, y_mm) == Approx(4));
  }
  CHECK(axes.at(-2).x_mm == Approx(10 - 2 * c));
  CHECK(axes.at(-2).y_mm == Approx(20 - 2 * s));
}
