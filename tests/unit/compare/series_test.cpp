#include "compare/series.hpp"

#include "catch.hpp"
#include "ripplegauge/core/errors.hpp"
#include "scene.hpp"

using namespace ripplegauge;
using namespace ripplegauge::test;

TEST_CASE("a series follows each spot from pull to pull", "[series]") {
  const auto shot = [](const std::vector<Dent>& dents) {
    return SeriesReading{reading(dents), relief_of(dents, 0.001)};
  };
  const Series series =
      compare_series({shot({spot(Kind::low, 40, 50, 0.5, 20), spot(Kind::low, 80, 70, 0.2, 12)}),
                      shot({spot(Kind::low, 40, 50, 0.3, 18), spot(Kind::low, 80, 70, 0.2, 12)}),
                      shot({spot(Kind::high, 40, 50, 0.1, 9)})});
  REQUIRE(series.against_first.size() == 2);
  REQUIRE(series.tracks.size() == 2);
  const SpotTrack& first = series.tracks[0];
  REQUIRE(first.points.size() == 3);
  CHECK(first.points[0].height_mm->value == Approx(-0.5));
  CHECK(first.points[0].height_mm->low == Approx(-0.525));
  CHECK(first.points[1].height_mm->value == Approx(-0.3));
  CHECK(first.points[1].moved_mm->value == Approx(0.2));
  CHECK(first.points[1].percent_gone->value == Approx(40));
  CHECK(first.points[2].height_mm->value == Approx(0.1));
  CHECK(first.points[2].moved_mm->value == Approx(0.4));
  CHECK(first.points[2].outcome == Outcome::overdone);
  CHECK(series.tracks[1].points[1].outcome == Outcome::unchanged);
  CHECK(series.tracks[1].points[2].outcome == Outcome::gone);
  CHECK(series.tracks[1].points[2].height_mm->value == 0);
}

TEST_CASE("one reading is no series", "[series]") {
  CHECK_THROWS_AS(compare_series({}), UsageError);
  CHECK_THROWS_AS(compare_series({SeriesReading{reading({}), {}}}), UsageError);
}
