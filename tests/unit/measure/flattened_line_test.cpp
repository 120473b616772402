// A spot that two body lines cross: which of them is told.
#include "measure/flattened_line.hpp"

#include <cmath>
#include <utility>

#include "catch.hpp"

using namespace ripplegauge;

namespace {

/// A dent 0.4 mm deep at (30, 30), a tenth of that 10 mm from its middle.
Relief one_dent() {
  Relief relief;
  relief.step_mm = 0.5;
  relief.columns = relief.rows = 121;
  for (int r = 0; r < relief.rows; ++r)
    for (int c = 0; c < relief.columns; ++c) {
      const double off_mm = std::hypot(0.5 * c - 30, 0.5 * r - 30);
      relief.height_mm.push_back(
          static_cast<float>(-0.4 * std::exp(-std::log(10.0) * off_mm * off_mm / 100)));
    }
  return relief;
}

BodyLine line_at(double y_mm) {
  BodyLine line;
  line.y_mm = y_mm;
  line.turn_deg = {5, 4, 6};
  return line;
}

}  // namespace

TEST_CASE("of two lines that a dent lies on, the one that lost more is told", "[body_line]") {
  Reading reading;
  Dent dent;
  dent.x_mm = dent.y_mm = 30;
  dent.length_mm = dent.width_mm = dent.diameter_mm = {20, 19, 21};
  dent.depth_mm = {0.4, 0.38, 0.42};
  reading.setup.body_line = line_at(30);
  reading.setup.second_body_line = line_at(34);
  for (int turn = 0; turn < 2; ++turn) {
    reading.dents = {dent};
    tell_flattened_lines(one_dent(), reading);
    REQUIRE(reading.dents[0].flattened_line);
    CHECK(reading.dents[0].flattened_line->depth_mm.value == Approx(0.4).epsilon(1e-3));
    CHECK(reading.dents[0].flattened_line->length_mm.value == Approx(20).epsilon(0.02));
    std::swap(reading.setup.body_line, reading.setup.second_body_line);
  }
}
