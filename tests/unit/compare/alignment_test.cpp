#include "compare/alignment.hpp"

#include "catch.hpp"
#include "scene.hpp"

using namespace ripplegauge;
using namespace ripplegauge::test;

namespace {

const std::vector<Dent> hail = {spot(Kind::low, 20, 60, 0.3, 18), spot(Kind::low, 55, 45, 0.2, 12),
                                spot(Kind::low, 80, 75, 0.15, 14), spot(Kind::low, 38, 88, 0.1, 9),
                                spot(Kind::high, 95, 40, 0.1, 8)};

}  // namespace

TEST_CASE("a motion and its inverse undo each other", "[alignment]") {
  const CardMotion motion{37, 12, -5};
  const PointMm there = motion.before_from_after({31, 4});
  const PointMm back = motion.after_from_before(there);
  CHECK(back.x_mm == Approx(31));  // rounding only
  CHECK(back.y_mm == Approx(4));
  const PointMm turned = CardMotion{90, 0, 0}.before_from_after({1, 0});  // from +x towards +y
  CHECK(turned.x_mm == Approx(0).margin(1e-12));
  CHECK(turned.y_mm == Approx(1));
}

TEST_CASE("with the card in its place spots are matched by place", "[alignment]") {
  std::vector<Dent> after = hail;
  after.erase(after.begin() + 1);
  after[0].x_mm += 1;
  const Alignment alignment = align(hail, after);
  CHECK(alignment.kind == AlignmentKind::same_card);
  REQUIRE(alignment.pairs.size() == 4);
  CHECK(alignment.motion == CardMotion{});
  CHECK_FALSE(alignment.ambiguous);
  CHECK(alignment.rms_mm == Approx(0.5));  // one of four is 1 mm off
}

TEST_CASE("a moved card is found out from the pattern of three or more spots", "[alignment]") {
  for (const CardMotion motion : {CardMotion{0, 30, 10}, CardMotion{12, -25, 14}, CardMotion{-160, 90, 60}}) {
    for (const CardPlacement placement : {CardPlacement::unknown, CardPlacement::moved}) {
      const Alignment alignment =
          align(hail, seen_from(motion, hail), AlignmentOptions{.placement = placement});
      CAPTURE(motion.turn_deg, alignment.sureness);
      CHECK(alignment.kind == AlignmentKind::by_pattern);
      REQUIRE(alignment.pairs.size() == 5);
      for (const SpotMatch& pair : alignment.pairs) CHECK(pair.before == pair.after);
      CHECK(std::remainder(alignment.motion.turn_deg - motion.turn_deg, 360) == Approx(0).margin(1e-6));
      CHECK(alignment.motion.dx_mm == Approx(motion.dx_mm).margin(1e-6));
      CHECK(alignment.motion.dy_mm == Approx(motion.dy_mm).margin(1e-6));
      CHECK_FALSE(alignment.ambiguous);
      CHECK(alignment.rms_mm < 1e-6);  // the motion was exact
    }
  }
}

TEST_CASE("the pattern still shows when spots are gone, new or changed", "[alignment]") {
  std::vector<Dent> after = seen_from({10, 20, 8}, hail);
  after.erase(after.begin());
  after.push_back(spot(Kind::high, 70, 20, 0.05, 6));
  after[0].depth_mm = within(0.02, 20);
  after[1].x_mm += 1;
  const Alignment alignment = align(hail, after);
  CHECK(alignment.kind == AlignmentKind::by_pattern);
  REQUIRE(alignment.pairs.size() == 4);
  for (const SpotMatch& pair : alignment.pairs) CHECK(pair.before == pair.after + 1);
}

TEST_CASE("two spots fit either way round, and that is said", "[alignment]") {
  const std::vector<Dent> two = {hail[0], hail[1]};
  const Alignment alignment =
      align(two, seen_from({5, 40, 10}, two), AlignmentOptions{.placement = CardPlacement::moved});
  CHECK(alignment.kind == AlignmentKind::by_pattern);
  CHECK(alignment.ambiguous);
  CHECK(alignment.motion.turn_deg == Approx(5).margin(0.01));  // the smaller turn is taken
  CHECK_THAT(alignment.sureness, Catch::Matchers::ContainsSubstring("either way round"));
}

TEST_CASE("a pattern that repeats itself is ambiguous", "[alignment]") {
  std::vector<Dent> square;
  for (const double x : {20.0, 60.0})
    for (const double y : {40.0, 80.0}) square.push_back(spot(Kind::low, x, y, 0.2, 10));
  const Alignment alignment =
      align(square, seen_from({3, 60, 0}, square), AlignmentOptions{.placement = CardPlacement::moved});
  CHECK(alignment.kind == AlignmentKind::by_pattern);
  CHECK(alignment.ambiguous);
}

TEST_CASE("one spot and a moved card: taken for the same, and said so", "[alignment]") {
  const std::vector<Dent> one = {hail[0]};
  const std::vector<Dent> moved = seen_from({0, 40, 0}, one);
  CHECK(align(one, moved).kind == AlignmentKind::none);  // nobody said that the card was moved
  const Alignment alignment = align(one, moved, AlignmentOptions{.placement = CardPlacement::moved});
  CHECK(alignment.kind == AlignmentKind::single_spot);
  CHECK(alignment.ambiguous);
  REQUIRE(alignment.pairs.size() == 1);
}

TEST_CASE("frames that cannot be joined are not", "[alignment]") {
  CHECK(align(hail, {spot(Kind::low, 60, 10, 0.1, 6)}, {.placement = CardPlacement::moved}).kind ==
        AlignmentKind::none);
  CHECK(align(hail, {}, {.placement = CardPlacement::moved}).kind == AlignmentKind::none);
  CHECK(align({}, hail, {.placement = CardPlacement::moved}).kind == AlignmentKind::none);
}

TEST_CASE("without spots the card is taken to lie where it lay", "[alignment]") {
  CHECK(align({hail[0]}, {}).kind == AlignmentKind::same_card);
  CHECK(align({}, {hail[0]}).kind == AlignmentKind::same_card);
  CHECK(align({}, {}).kind == AlignmentKind::same_card);
}

TEST_CASE("the user's word on the card is taken", "[alignment]") {
  const Alignment alignment =
      align({hail[0]}, {spot(Kind::low, 80, 20, 0.1, 6)}, {.placement = CardPlacement::same});
  CHECK(alignment.kind == AlignmentKind::same_card);
  CHECK(alignment.pairs.empty());
}

TEST_CASE("fifty spots are matched in a moment", "[alignment]") {
  std::vector<Dent> many;
  unsigned state = 5;
  const auto next = [&] { return (state = state * 1664525u + 1013904223u) / 4294967296.0; };
  for (int i = 0; i < 50; ++i) {
    const double x = 200 * next(), y = 200 * next();
    many.push_back(spot(Kind::low, x, y, 0.2, 5 + 10 * next()));
  }
  const Alignment alignment = align(many, seen_from({20, 50, 20}, many));
  CHECK(alignment.kind == AlignmentKind::by_pattern);
  CHECK(alignment.pairs.size() == 50);
}
