#include "core/crease.hpp"

#include "catch.hpp"

using namespace ripplegauge;

namespace {

Dent spot(double length_mm, double width_mm) {
  Dent dent;
  dent.x_mm = 50;
  dent.y_mm = 40;
  dent.angle_deg = 90;
  dent.length_mm = {length_mm, length_mm, length_mm};
  dent.width_mm = {width_mm, width_mm, width_mm};
  dent.deepest = PointMm{50, 43};
  return dent;
}

}  // namespace

TEST_CASE("a crease is pulled from its ends to its deepest point", "[crease]") {
  const std::vector<PointMm> places = pull_places(spot(60, 12), 20);
  REQUIRE(places.size() == 3);
  // 85 % of 60 mm less the face: 15.5 mm to each side
  CHECK(places[0].y_mm == Approx(40 - 15.5));
  CHECK(places[1].y_mm == Approx(40 + 15.5));
  CHECK(places[0].x_mm == Approx(50));
  CHECK(places[2] == PointMm{50, 43});
}

TEST_CASE("a face that reaches from end to end stands in the middle", "[crease]") {
  CHECK(pull_places(spot(60, 12), 48) == std::vector<PointMm>{{50, 40}});
}

TEST_CASE("tabs in a row are pulled from the outside in", "[crease]") {
  const std::vector<PointMm> four = pull_places(spot(100, 12), 16, 4);
  REQUIRE(four.size() == 4);
  CHECK(four[0].y_mm == Approx(40 - 34.5));
  CHECK(four[1].y_mm == Approx(40 + 34.5));
  CHECK(four[2].y_mm == Approx(40 - 11.5));
  CHECK(four[3].y_mm == Approx(40 + 11.5));
  CHECK(pull_places(spot(100, 12), 40, 2).size() == 2);
  CHECK(pull_places(spot(100, 12), 22, 3).at(2).y_mm == Approx(40));
}

TEST_CASE("a round spot is pulled at its deepest point", "[crease]") {
  CHECK_FALSE(is_crease(spot(20, 15)));
  CHECK(pull_places(spot(20, 15), 10) == std::vector<PointMm>{{50, 43}});
}
