// The mask that says where on the panel a dent would have been seen.
#include "catch.hpp"
#include "ripplegauge/core/reading.hpp"

using namespace ripplegauge;

namespace {

/// Two rows of three 2 mm cells from (10, 20) on; the middle cell of the lower row is not judged.
JudgedArea small_area() {
  JudgedArea area;
  area.x0_mm = 10;
  area.y0_mm = 20;
  area.x1_mm = 16;
  area.y1_mm = 24;
  area.area_mm2 = 20;
  area.cell_mm = 2, area.rows = {"#.#", "###"};
  return area;
}

}  // namespace

TEST_CASE("a judged area knows its cells, and nothing outside them", "[judged]") {
  const JudgedArea area = small_area();
  CHECK(area.covers(10.5, 20.5));
  CHECK_FALSE(area.covers(13, 21));
  CHECK(area.covers(13, 23));
  CHECK_FALSE(area.covers(9.9, 21));
  CHECK_FALSE(area.covers(16.1, 21));
  CHECK_FALSE(area.covers(11, 24.1));
}

TEST_CASE("an area without a mask covers nothing", "[judged]") {
  JudgedArea area;
  area.x1_mm = 100;
  area.y1_mm = 100;
  area.area_mm2 = 1e4;
  CHECK_FALSE(area.covers(50, 50));
  CHECK(area.covered_share(50, 50, 10) == 0);
}

TEST_CASE("a disc counts by the share of its cells that were judged", "[judged]") {
  const JudgedArea area = small_area();
  CHECK(area.covered_share(11, 22, 1) == 1);
  CHECK(area.covered_share(13, 21, 1) == 0);
  const double share = area.covered_share(13, 22, 4);
  CHECK(share > 0.6);
  CHECK(share < 0.9);
  CHECK(area.covered_share(13, 22, 0) == 1);
}
