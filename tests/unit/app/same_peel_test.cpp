#include "app/same_peel.hpp"

#include "catch.hpp"
#include "ripplegauge/json/card_file.hpp"

using namespace ripplegauge;

namespace {

const std::filesystem::path source = RIPPLEGAUGE_SOURCE_DIR;

Reading as_given(double pitch_mm, double distance_mm, double bar_mm) {
  Reading reading;
  reading.setup.board_pitch_mm = pitch_mm;
  reading.setup.bar_length_mm = bar_mm;
  reading.setup.board_distance_mm = Quantity{distance_mm, distance_mm - 10, distance_mm + 10};
  return reading;
}

std::filesystem::path photo(const std::string& name) { return source / "samples/photos" / name; }

}  // namespace

TEST_CASE("the peel of two sample photos of one panel is the same, of others not", "[same_peel]") {
  const CardDefinition card = read_card(source / "calibration/card-corner.json");
  // What the photos show of the dent is left out: it is none of peel.
  Dent dent;
  dent.x_mm = 59;
  dent.y_mm = 46;
  dent.diameter_mm = dent.length_mm = dent.width_mm = {22, 21, 23};
  Reading before = as_given(14, 268, 98.4), after = as_given(14, 298, 98.4), other = as_given(12, 237, 100);
  before.dents = {dent};
  CHECK(same_peel({before, photo("pull-before.jpg")}, {after, photo("pull-after.jpg")}, card, 1));
  CHECK_FALSE(same_peel({before, photo("pull-before.jpg")}, {other, photo("low-light.jpg")}, card, 1));
  CHECK_FALSE(same_peel({before, photo("pull-before.jpg")}, {after, photo("refused-blur.jpg")}, card, 1));
  CHECK_FALSE(same_peel({before, photo("pull-before.jpg")}, {after, photo("no-such.jpg")}, card, 1));
  CHECK_FALSE(same_peel({before, ""}, {after, photo("pull-after.jpg")}, card, 1));
}
