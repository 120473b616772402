#include "compare/place.hpp"

#include "catch.hpp"
#include "core/visible_dent.hpp"
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

TEST_CASE("peel is asked where nothing else proves the place, and proves it alone", "[place]") {
  const Reading before = on_crown(0.5, 0.2);
  Reading after = before;
  int asked = 0;
  const auto with_peel = [&](bool same) {
    return same_place(before, after, align(before.dents, after.dents), CardPlacement::unknown,
                      [&, same](const Reading&, const Reading&) { return ++asked, same; });
  };
  CHECK(with_peel(false).same == SamePlace::proven);
  CHECK(asked == 0);  // a spot stands where one stood
  after.dents.clear();
  CHECK(with_peel(false).same == SamePlace::likely);  // peel that is not seen speaks against nothing
  CHECK(with_peel(true).same == SamePlace::proven);
  CHECK(with_peel(true).reason.find("orange peel") != std::string::npos);
  CHECK(asked == 3);
  after = on_crown(1.4, 0.2);
  CHECK(with_peel(true).same == SamePlace::no);
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

TEST_CASE("a spot some millimetres off proves nothing: a card may have been shifted", "[place]") {
  const Reading before = on_crown(0.5, 0.2);
  Reading after = before;
  after.dents[0].x_mm += 0.6;
  CHECK(evidence(before, after).same == SamePlace::proven);
  after.dents[0].x_mm += 4;
  CHECK(evidence(before, after).same == SamePlace::likely);
  CHECK(evidence(before, after).card_decides);
  CHECK(evidence(before, after).reason.find("4.6 mm") != std::string::npos);
}

TEST_CASE("among many spots one stands near another by chance", "[place]") {
  Reading before = on_crown(0.5, 0.2), after = before;
  for (Reading* panel : {&before, &after}) panel->dents.clear();
  for (int i = 0; i < 20; ++i) {
    const double x_mm = 10.0 + 20 * (i % 5), y_mm = 10.0 + 20 * (i / 5);
    before.dents.push_back(spot(Kind::low, x_mm, y_mm, 0.1, 6));
    // all but one lie elsewhere
    after.dents.push_back(
        spot(Kind::low, x_mm + (i == 7 ? 0.0 : 5.0), y_mm + (i == 7 ? 0.0 : 3.0 + i % 3), 0.1, 6));
  }
  CHECK(evidence(before, after).same == SamePlace::likely);
  CHECK(evidence(before, before).same == SamePlace::proven);
}

TEST_CASE("the same photo twice, photos in the wrong order, another card or line: no pair", "[place]") {
  Reading before = on_crown(0.5, 0.2), after = before;
  after.dents.clear();
  SECTION("told by what was measured, where the file's bytes are not known") {
    before.setup.pixels_per_mm = 8.25;
    before.setup.camera_distance_mm = Quantity{276.1234, 270, 282};
    Reading other = before;
    CHECK(evidence(before, before).reason == "both are the same photo");
    other.setup.camera_distance_mm->value += 0.001;
    CHECK(evidence(before, other).same == SamePlace::proven);
  }
  SECTION("by the camera's clock") {
    before.photo.date_taken = "2026-03-14 09:30:00";
    after.photo.date_taken = "2026-03-14 09:10:00";
    CHECK(evidence(before, after).same == SamePlace::no);
  }
  SECTION("a dent where none was") {
    CHECK(evidence(after, before).same == SamePlace::no);
    after.photo.date_taken = "2026-03-14 09:10:00";
    before.photo.date_taken = "2026-03-14 09:30:00";
    CHECK(evidence(after, before).same == SamePlace::likely);  // somebody made it in between
  }
  SECTION("two bars") {
    after.setup.bar_length_mm = before.setup.bar_length_mm * 1.01;
    CHECK(evidence(before, after).same == SamePlace::no);
  }
  SECTION("a body line") {
    const auto line = [](double y_mm, double angle_deg) {
      return BodyLine{0, y_mm, angle_deg, {8, 7, 9}, {4, 3, 5}};
    };
    before.setup.body_line = line(70, 3);
    after.setup.body_line = line(71, 4);
    CHECK(evidence(before, after).same == SamePlace::likely);
    CHECK(evidence(before, after).reason.find("body line") != std::string::npos);
    after.setup.body_line = line(90, 4);
    CHECK(evidence(before, after).same == SamePlace::no);
    after.setup.body_line = line(70, 40);
    CHECK(evidence(before, after).same == SamePlace::no);
    // of two lines one may be out of the other photo's view
    after.setup.second_body_line = line(70, 3);
    CHECK(evidence(before, after).same == SamePlace::likely);
    after.setup.second_body_line.reset();
    // directions are lines, not arrows
    before.setup.body_line = line(70, 89);
    after.setup.body_line = line(70, -89);
    CHECK(evidence(before, after).same == SamePlace::likely);
  }
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
  CHECK(steepest_mrad(*smallest_visible(setup, 20)) == Approx(5));
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
