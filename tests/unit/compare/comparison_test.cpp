#include "compare/comparison.hpp"

#include <cmath>
#include <random>

#include "catch.hpp"
#include "ripplegauge/core/errors.hpp"
#include "scene.hpp"

using namespace ripplegauge;
using namespace ripplegauge::test;

namespace {

const Dent low = spot(Kind::low, 40, 50, 0.5, 20);

Comparison compared(const std::vector<Dent>& before, const std::vector<Dent>& after,
                    const CompareOptions& options = {}) {
  return compare_readings(reading(before), relief_of(before, 0.001), reading(after), relief_of(after, 0.001),
                          options);
}

SpotChange one_spot(const Dent& before, const std::vector<Dent>& after) {
  const Comparison comparison = compared({before}, after);
  REQUIRE(comparison.spots.size() == 1);
  return comparison.spots[0];
}

}  // namespace

TEST_CASE("each case is told apart", "[compare]") {
  SECTION("gone") {
    const SpotChange change = one_spot(low, {});
    CHECK(change.outcome == Outcome::gone);
    REQUIRE(change.percent_gone);
    CHECK(change.percent_gone->value == 100);
    REQUIRE(change.nothing_above);
    const double limit_mm = change.nothing_above->depth_mm;
    CHECK(limit_mm == Approx(0.003).epsilon(0.35));  // even scatter, its median deviation
    CHECK(change.nothing_above->width_mm == 20);
    CHECK(change.percent_gone->low == Approx(100 * (1 - limit_mm / low.depth_mm->low)));
    CHECK(change.moved_mm->value == Approx(0.5));  // it came up by its depth
  }
  SECTION("partly pulled") {
    const SpotChange change = one_spot(low, {spot(Kind::low, 41, 50, 0.2, 17)});
    CHECK(change.outcome == Outcome::partly);
    REQUIRE(change.percent_gone);
    CHECK(change.percent_gone->value == Approx(60));
    CHECK(change.moved_mm->value == Approx(0.3));
    CHECK(change.left_mm->value == Approx(0.2));
    CHECK(change.left_height_mm->value == Approx(-0.2));
    CHECK(change.left_height_mm->low == Approx(-0.21));
    CHECK(change.sure);
    CHECK(change.highs_made == 0);
  }
  SECTION("over-pulled") {
    const SpotChange change = one_spot(low, {spot(Kind::high, 40, 52, 0.1, 8)});
    CHECK(change.outcome == Outcome::overdone);
    CHECK(change.highs_made == 1);
    CHECK_FALSE(change.percent_gone);  // what stands there is no rest of the low
    CHECK(change.left_height_mm->value == Approx(0.1));
    CHECK(change.moved_mm->value == Approx(0.6));
  }
  SECTION("a low left inside a high") {
    Dent inner = spot(Kind::low, 41, 50, 0.05, 6);
    inner.inside_of = 0;
    const SpotChange change = one_spot(low, {spot(Kind::high, 40, 50, 0.1, 18), inner});
    CHECK(change.outcome == Outcome::low_in_high);
    CHECK(change.after == std::vector<int>{0, 1});
    CHECK(change.highs_made == 1);
  }
  SECTION("unchanged") {
    CHECK(one_spot(low, {spot(Kind::low, 40, 50, 0.49, 20)}).outcome == Outcome::unchanged);
  }
  SECTION("worse") {
    const SpotChange change = one_spot(low, {spot(Kind::low, 40, 50, 0.7, 24)});
    CHECK(change.outcome == Outcome::worse);
    CHECK(change.percent_gone->value == Approx(-40));
    CHECK(change.moved_mm->value == Approx(-0.2));
  }
  SECTION("a high knocked down too far") {
    const SpotChange change = one_spot(spot(Kind::high, 40, 50, 0.2, 12), {spot(Kind::low, 40, 50, 0.1, 12)});
    CHECK(change.outcome == Outcome::overdone);
    CHECK(change.highs_made == 0);
    CHECK(change.moved_mm->value == Approx(-0.3));
  }
  SECTION("less, with a high beside it") {
    const SpotChange change =
        one_spot(low, {spot(Kind::low, 40, 50, 0.1, 10), spot(Kind::high, 46, 50, 0.05, 6)});
    CHECK(change.outcome == Outcome::partly);
    CHECK(change.highs_made == 1);
    CHECK(change.after.size() == 2);
  }
}

TEST_CASE("a wide interval is no proof that nothing happened", "[compare]") {
  Dent wide = spot(Kind::low, 40, 50, 0.175, 17);
  wide.depth_mm = Quantity{0.175, 0.05, 0.7};  // a tape that may be far off
  const SpotChange change = one_spot(low, {wide});
  CHECK(change.outcome == Outcome::partly);
  CHECK_FALSE(change.sure);
  CHECK(change.percent_gone->value == Approx(65));
  CHECK(change.percent_gone->low < 0);

  wide.depth_mm = Quantity{0.45, 0.1, 0.9};
  CHECK(one_spot(low, {wide}).outcome == Outcome::unchanged);
  wide.depth_mm = Quantity{0.2, 0, 0.7};  // not "gone", although its interval reaches nothing
  CHECK(one_spot(low, {wide}).outcome == Outcome::partly);
}

TEST_CASE("spots that went past flat are counted for themselves", "[compare]") {
  const Dent other = spot(Kind::low, 80, 70, 0.4, 10);
  const Comparison comparison =
      compared({low, other}, {spot(Kind::high, 40, 50, 0.1, 9), spot(Kind::low, 80, 70, 0.2, 10)});
  CHECK(comparison.past_flat == 1);
  CHECK(comparison.overshoot_mm == Approx(0.1));
  REQUIRE(comparison.percent_gone);
  CHECK(comparison.percent_gone->value == Approx(50));  // of the other one alone
  CHECK_FALSE(compared({low}, {spot(Kind::high, 40, 50, 0.1, 9)}).percent_gone);
}

TEST_CASE("warnings of both readings are told with the comparison", "[compare]") {
  Reading before = reading({low}), after = reading({low});
  after.warnings = {{"board_distance", "The tape may be wrong."}};
  CHECK(compare_readings(before, {}, after, {}).notes ==
        std::vector<std::string>{"photo after: The tape may be wrong"});
}

TEST_CASE("gone is never claimed without having looked", "[compare]") {
  SECTION("the photo after does not show the place") {
    Relief hole = relief_of({});
    for (int row = 0; row < hole.rows; ++row)
      for (int column = 60; column < 140; ++column)
        hole.at(row, column) = std::numeric_limits<float>::quiet_NaN();
    const Comparison comparison = compare_readings(reading({low}), {}, reading({}), hole);
    REQUIRE(comparison.spots.size() == 1);
    CHECK(comparison.spots[0].outcome == Outcome::not_seen);
    CHECK_FALSE(comparison.spots[0].percent_gone);
    CHECK_FALSE(comparison.percent_gone);
  }
  SECTION("the photo after is too rough to show it") {
    const Dent faint = spot(Kind::low, 40, 50, 0.02, 20);
    const Comparison comparison = compare_readings(reading({faint}), {}, reading({}), relief_of({}, 0.01));
    REQUIRE(comparison.spots.size() == 1);
    CHECK(comparison.spots[0].outcome == Outcome::not_seen);
  }
  SECTION("the relief of another spot does not reach there, and no judged area was saved") {
    const Dent other = spot(Kind::low, 90, 20, 0.2, 8);
    Relief around = relief_of({});
    around.x0_mm = 80;
    around.y0_mm = 10;
    around.columns = around.rows = 41;
    around.height_mm.assign(41 * 41, 0.0f);
    const Comparison comparison = compare_readings(reading({low, other}), {}, reading({other}), around);
    REQUIRE(comparison.spots.size() == 2);
    CHECK(comparison.spots[0].outcome == Outcome::not_seen);
    CHECK(comparison.spots[0].notes.size() == 1);
  }
  SECTION("the slope that shows bounds the depth that is left") {
    Reading after = judged(reading({}));
    after.setup.visible_slope_mrad = 5;
    const Comparison comparison = compare_readings(reading({low}), {}, after, {});
    REQUIRE(comparison.spots.size() == 1);
    // A Gaussian spot 20 mm wide at a tenth, 5 mrad steep: sigma = 20 / 4.2919, depth = 0.005 sigma sqrt(e).
    CHECK(comparison.spots[0].nothing_above->depth_mm == Approx(0.0384).epsilon(0.002));
    CHECK(comparison.spots[0].percent_gone->low == Approx(100 * (1 - 0.0384 / 0.475)).epsilon(0.001));
  }
  SECTION("neither relief nor judged area was saved") {
    const Comparison comparison = compare_readings(reading({low}), {}, reading({}), {});
    REQUIRE(comparison.spots.size() == 1);
    CHECK(comparison.spots[0].outcome == Outcome::not_seen);
    CHECK_FALSE(comparison.spots[0].nothing_above);
    CHECK_FALSE(comparison.spots[0].percent_gone);
  }
  SECTION("the judged area does not reach there") {
    Reading after = judged(reading({}));
    after.setup.judged->rows.resize(10);  // 20 mm of 100
    CHECK(compare_readings(reading({low}), {}, after, relief_of({})).spots.at(0).outcome ==
          Outcome::not_seen);
  }
  SECTION("judged, but how faint a spot would show is not known: gone without a bound") {
    const Comparison comparison = compare_readings(reading({low}), {}, judged(reading({})), {});
    CHECK(comparison.spots.at(0).outcome == Outcome::gone);
    CHECK(std::isnan(comparison.spots.at(0).percent_gone->low));
  }
  SECTION("the interval of what is left reaches zero") {
    Dent rest = spot(Kind::low, 40, 50, 0.004, 12);
    rest.depth_mm = Quantity{0.004, 0, 0.009};
    const SpotChange change = one_spot(low, {rest});
    CHECK(change.outcome == Outcome::gone);
    CHECK(change.nothing_above->depth_mm == 0.009);
    CHECK(change.percent_gone->value < 100);
  }
  SECTION("a small spot beside a large one that is still there") {
    const Dent large = spot(Kind::low, 50, 50, 1.0, 40);
    const Dent small = spot(Kind::low, 64, 50, 0.1, 6);
    const Comparison comparison = compared({large, small}, {large});
    REQUIRE(comparison.spots.size() == 2);
    CHECK(comparison.spots[0].outcome == Outcome::unchanged);
    CHECK(comparison.spots[1].outcome == Outcome::unclear);
  }
  SECTION("the card may have been moved") {
    const Comparison comparison = compared({low}, {spot(Kind::low, 80, 20, 0.3, 14)});
    REQUIRE(comparison.spots.size() == 1);
    CHECK(comparison.spots[0].outcome == Outcome::unclear);
    CHECK(comparison.new_marks.empty());
    CHECK(comparison.highs_made + comparison.lows_made == 0);
  }
}

TEST_CASE("new marks are those whose place was seen before", "[compare]") {
  const Dent mark = spot(Kind::high, 80, 70, 0.05, 6);
  SECTION("new") {
    const Comparison comparison = compared({low}, {low, mark});
    REQUIRE(comparison.new_marks.size() == 1);
    CHECK(comparison.new_marks[0].after == 1);
    CHECK(comparison.new_marks[0].place_was_seen);
    CHECK(comparison.highs_made == 1);
  }
  SECTION("not shown before") {
    Relief half = relief_of({low});
    for (int row = 0; row < half.rows; ++row)
      for (int column = 130; column < half.columns; ++column)
        half.at(row, column) = std::numeric_limits<float>::quiet_NaN();
    const Comparison comparison = compare_readings(reading({low}), half, reading({low, mark}), {});
    REQUIRE(comparison.new_marks.size() == 1);
    CHECK_FALSE(comparison.new_marks[0].place_was_seen);
    CHECK(comparison.highs_made == 0);
  }
  SECTION("none") { CHECK(compared({low}, {low}).new_marks.empty()); }
}

TEST_CASE("swapping the photos turns the movement round", "[compare]") {
  const Dent less = spot(Kind::low, 40, 50, 0.2, 20);
  const SpotChange there = one_spot(low, {less}), back = one_spot(less, {low});
  CHECK(there.moved_mm->value == Approx(-back.moved_mm->value));
  CHECK(there.moved_mm->low == Approx(-back.moved_mm->high));
  CHECK(there.moved_mm->high == Approx(-back.moved_mm->low));
}

TEST_CASE("a moved card gives the same changes", "[compare]") {
  const std::vector<Dent> before = {low, spot(Kind::low, 70, 60, 0.3, 12), spot(Kind::low, 30, 80, 0.2, 10)};
  std::vector<Dent> after = {spot(Kind::low, 40, 50, 0.2, 18), before[1], before[2]};
  const CardMotion motion{15, 12, -6};
  const std::vector<Dent> moved = seen_from(motion, after);
  const Comparison in_place = compared(before, after), elsewhere = compared(before, moved);
  CHECK(elsewhere.alignment.kind == AlignmentKind::by_pattern);
  REQUIRE(elsewhere.spots.size() == 3);
  for (std::size_t i = 0; i < 3; ++i) {
    CHECK(elsewhere.spots[i].outcome == in_place.spots[i].outcome);
    CHECK(elsewhere.spots[i].percent_gone->value == Approx(in_place.spots[i].percent_gone->value));
  }
}

TEST_CASE("the interval of per cent gone holds the truth about 95 times in 100", "[compare]") {
  std::mt19937_64 random(11);
  std::normal_distribution<double> noise;
  const double truth_before = 0.5, truth_left = 0.2, relative = 0.04;
  const auto measured = [&](double truth) {
    const double value = truth * (1 + relative * noise(random));
    return Quantity{value, value * (1 - 2 * relative), value * (1 + 2 * relative)};
  };
  int inside = 0;
  const int trials = 2000;
  for (int i = 0; i < trials; ++i) {
    const Quantity percent = percent_gone(measured(truth_before), measured(truth_left));
    inside += percent.low <= 60 && 60 <= percent.high;
  }
  // k = 2 holds 95.4 %: 1909, standard deviation 9.4; four of them, and the ratio is a little skewed.
  CHECK(inside >= 1865);
  CHECK(inside <= 1950);
}

TEST_CASE("per cent gone is never more than a hundred and never made up", "[compare]") {
  CHECK(percent_gone({0.5, 0.4, 0.6}, {0.01, 0, 0.03}).high == 100);
  CHECK(std::isnan(percent_gone({0, 0, 0}, {0.1, 0.1, 0.1}).value));
  CHECK(std::isnan(percent_gone({}, {0.1, 0.1, 0.1}).value));
  CHECK(percent_gone({0.5, 0.5, 0.5}, {0.25, 0.25, 0.25}) == Quantity{50, 50, 50});
}

TEST_CASE("unknown depths leave the case open rather than guessed", "[compare]") {
  Dent deep = low;
  deep.depth_mm.reset();
  SECTION("same kind") {
    const SpotChange change =
        compare_readings(reading({deep}), {}, reading({spot(Kind::low, 40, 50, 0.1, 9)}), {}).spots.at(0);
    CHECK(change.outcome == Outcome::unclear);
    CHECK_FALSE(change.percent_gone);
  }
  SECTION("other kind") {
    CHECK(compare_readings(reading({deep}), {}, reading({spot(Kind::high, 40, 50, 0.1, 9)}), {})
              .spots.at(0)
              .outcome == Outcome::overdone);
  }
  SECTION("nothing left") {
    const SpotChange change = compare_readings(reading({deep}), {}, judged(reading({})), {}).spots.at(0);
    CHECK(change.outcome == Outcome::gone);
    CHECK_FALSE(change.percent_gone);
  }
}

TEST_CASE("what no repair does looks like swapped photos, unless their times say otherwise", "[compare]") {
  Reading before = reading({spot(Kind::high, 40, 50, 0.08, 18)}), after = reading({low});
  const SpotChange tapped = compare_readings(before, {}, after, {}).spots.at(0);
  CHECK(tapped.outcome == Outcome::unclear);
  CHECK(tapped.swapped);
  CHECK_FALSE(tapped.percent_gone);
  CHECK(compare_readings(reading({spot(Kind::low, 40, 50, 0.2, 20)}), {}, after, {}).spots.at(0).swapped);
  before.photo.date_taken = "2026-03-14 09:10:00";
  after.photo.date_taken = "2026-03-14 09:30:00";
  CHECK(compare_readings(before, {}, after, {}).spots.at(0).outcome == Outcome::overdone);
}

TEST_CASE("the whole is weighted by depth", "[compare]") {
  const Dent other = spot(Kind::low, 80, 70, 0.1, 10);
  const Comparison comparison = compared({low, other}, {spot(Kind::low, 40, 50, 0.25, 20), other});
  REQUIRE(comparison.percent_gone);
  CHECK(comparison.percent_gone->value == Approx(100 * (1 - 0.35 / 0.6)));
}

TEST_CASE("odd pairs are remarked on", "[compare]") {
  Reading before = reading({low}), after = reading({low});
  before.photo.date_taken = "2026-03-14 09:30:00";
  after.photo.date_taken = "2026-03-14 09:10:00";
  before.photo.sha256 = after.photo.sha256 = "abc";
  after.setup.bar_length_mm = 97.3;
  const Comparison comparison = compare_readings(before, {}, after, {});
  CHECK(comparison.minutes == -20);
  CHECK(comparison.place.same == SamePlace::no);  // one photo, twice
  CHECK(comparison.spots.at(0).outcome == Outcome::unclear);
  CHECK(comparison.notes.size() == 1);  // the bar
}

TEST_CASE("nothing before and nothing after is a comparison too", "[compare]") {
  const Comparison comparison = compared({}, {});
  CHECK(comparison.spots.empty());
  CHECK(comparison.new_marks.empty());
  CHECK_FALSE(comparison.percent_gone);
}

TEST_CASE("a refused photo is not compared", "[compare]") {
  Reading refused;
  CHECK_THROWS_AS(compare_readings(refused, {}, reading({low}), {}), UsageError);
  CHECK_THROWS_AS(compare_readings(reading({low}), {}, refused, {}), UsageError);
}
