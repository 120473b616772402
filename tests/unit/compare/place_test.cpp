#include "ripplegauge/compare/place.hpp"

#include "catch.hpp"
#include "ripplegauge/core/visible_dent.hpp"
#include "scene.hpp"

using namespace ripplegauge;
using namespace ripplegauge::test;

namespace {

const Dent low = spot(Kind::low, 40, 50, 0.5, 20);

Reading on_crown(double x_per_m, double y_per_m, double half = 0.1) {
  Reading panel = judged(reading({low}));
  panel.setup.crown_x_per_m = Quantity{x_per_m, x_per_m - half, x_per_m + half};
  panel.setup.crown_y_per_m = Quantity{y_per_m, y_per_m - half, y_per_m + half};
  return panel;
}

PlaceEvidence evidence(const Reading& before, const Reading& after,
                       CardPlacement told = CardPlacement::unknown) {
  return same_place(before, after, align(before.dents, after.dents, {.placement = told}), told);
}

}  // namespace

TEST_CASE("the same place is proven by spots or by the user", "[place]") {
  const Reading before = on_crown(0.5, 0.2);
  Reading after = before;
  CHECK(evidence(before, after).same == SamePlace::proven);  // a spot stands where one stood
  after.dents.clear();
  CHECK(evidence(before, after).same == SamePlace::likely);
  CHECK(evidence(before, after).reason.find("crown") != std::string::npos);
  CHECK(evidence(before, after, CardPlacement::same).same == SamePlace::proven);
}

TEST_CASE("another crown is another panel, whatever stands there", "[place]") {
  Reading before = on_crown(0.5, 0.2), after = on_crown(1.4, 0.2);
  CHECK(evidence(before, after).same == SamePlace::no);
  after.dents.clear();
  CHECK(evidence(before, after).same == SamePlace::no);
  CHECK(evidence(before, after).reason.find("long arm") != std::string::npos);
  CHECK(evidence(before, on_crown(0.5, 1.2)).reason.find("short arm") != std::string::npos);
  // within the intervals of both it may be the same
  CHECK(evidence(before, on_crown(1.4, 0.2, 1.0)).same == SamePlace::proven);
}

TEST_CASE("another card has another frame", "[place]") {
  Reading before = on_crown(0.5, 0.2), after = before;
  before.setup.card_name = "corner";
  after.setup.card_name = "strip";
  CHECK(evidence(before, after).same == SamePlace::no);
}

TEST_CASE("the smallest dent that shows, between the widths that are known", "[place]") {
  Setup setup;
  CHECK_FALSE(smallest_visible(setup, 10));
  setup.smallest_visible = {{5, 0.010}, {10, 0.016}, {20, 0.030}};
  CHECK(smallest_visible(setup, 10)->depth_mm == Approx(0.016));
  CHECK(smallest_visible(setup, 15)->depth_mm == Approx(0.023));
  CHECK(smallest_visible(setup, 3)->depth_mm == Approx(0.010));
  CHECK(smallest_visible(setup, 40)->depth_mm == Approx(0.060));
  CHECK(smallest_visible(setup, 40)->width_mm == 40);
  setup.smallest_visible.clear();
  setup.visible_slope_mrad = 5;
  // A Gaussian 20 mm wide at a tenth, 5 mrad steep: sigma = 20 / 4.2919, depth = 0.005 sigma sqrt(e).
  CHECK(smallest_visible(setup, 20)->depth_mm == Approx(0.0384).epsilon(0.002));
}

TEST_CASE("an empty place is shown where it was judged and where the spot would have shown", "[place]") {
  Reading after = judged(reading({}));
  after.setup.smallest_visible = {{5, 0.010}, {10, 0.016}, {20, 0.030}};
  const EmptyPlace there = look_at_empty_place(low, {40, 50}, after, {});
  CHECK(there.shown);
  CHECK(nothing_above_words(there.smallest) == "nothing deeper than 0.030 mm at 20 mm wide");
  // half of it lies beyond what was judged
  const EmptyPlace beyond = look_at_empty_place(low, {100, 50}, after, {});
  CHECK_FALSE(beyond.shown);
  CHECK(beyond.why_not.find("stripes") != std::string::npos);
  const EmptyPlace faint = look_at_empty_place(spot(Kind::low, 40, 50, 0.025, 20), {40, 50}, after, {});
  CHECK_FALSE(faint.shown);
  CHECK(faint.why_not.find("faint") != std::string::npos);
  after.setup.judged.reset();
  CHECK_FALSE(look_at_empty_place(low, {40, 50}, after, {}).shown);
}
