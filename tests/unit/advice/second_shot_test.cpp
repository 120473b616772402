#include "advice/second_shot.hpp"

#include <cmath>

#include "catch.hpp"

using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;

namespace {

Reading reading_with(std::vector<BudgetTerm> budget) {
  Reading reading;
  reading.status = Status::measured;
  Dent dent;
  dent.diameter_mm = dent.length_mm = dent.width_mm = Quantity{12, 11.8, 12.2};
  dent.depth_mm = Quantity{0.1, 0.09, 0.11};
  reading.dents = {dent};
  reading.budgets = {std::move(budget)};
  reading.setup.board_pitch_mm = 16;
  reading.setup.stripe_period_mm = 3;
  reading.setup.board_distance_mm = Quantity{390, 380, 400};
  return reading;
}

const FirstStripes fine{60, 0};

}  // namespace

TEST_CASE("peel is looked at along another direction, which halves its variance", "[second_shot]") {
  const auto shot =
      second_shot(reading_with({{"orange peel", "", 2, 3}, {"print scale", "", 0.1, 0.2}}), fine);
  REQUIRE(shot.has_value());
  CHECK(shot->quantity == "depth");
  CHECK(shot->limited_by == "orange peel");
  CHECK(shot->turn_board_deg == 90.0);
  CHECK_FALSE(shot->pitch_mm.has_value());
  CHECK(shot->now_percent == Approx(coverage_factor_95 * std::hypot(3, 0.2)));
  CHECK(shot->expected_percent == Approx(coverage_factor_95 * std::hypot(3 / std::sqrt(2), 0.2)));
  CHECK_THAT(shot->words.front(), ContainsSubstring("90 degrees") && ContainsSubstring("peel"));
}

TEST_CASE("what is common to all photos asks for none", "[second_shot]") {
  CHECK_FALSE(second_shot(reading_with({{"print scale", "", 2, 2}}), fine));
  CHECK_FALSE(second_shot(reading_with({{"a term of a later version", "", 2, 2}}), fine));
  CHECK_FALSE(second_shot(Reading{}, fine));
}

TEST_CASE("few stripes across the spot ask for a finer board, as far as the photo resolves it",
          "[second_shot]") {
  Reading reading = reading_with({{"odd shapes", "", 3, 4}});
  reading.setup.stripe_period_mm = 12;  // one pair across: a third of the pitch would make it three
  const auto shot = second_shot(reading, {120, 0});
  REQUIRE(shot.has_value());
  CHECK(shot->pitch_mm == 5.0);
  const auto coarse = second_shot(reading, {60, 0});  // 30 pixels a pair must be left
  REQUIRE(coarse.has_value());
  CHECK(coarse->pitch_mm == 8.0);
  CHECK(coarse->expected_percent > shot->expected_percent);
}

TEST_CASE("a near board goes further away where its distance is what is not known", "[second_shot]") {
  Reading reading = reading_with({{"board distance", "", 0, 4}, {"orange peel", "", 1, 1}});
  reading.setup.board_distance_mm = Quantity{200, 180, 220};
  const auto shot = second_shot(reading, fine);
  REQUIRE(shot.has_value());
  CHECK(shot->board_further_mm == Approx(200));
  CHECK_THAT(shot->words.back(), ContainsSubstring("tape"));
  reading.setup.board_distance_given_mm = 200;
  CHECK(second_shot(reading, fine)->words.back().find("tape") == std::string::npos);
}

TEST_CASE("stripes across a long spot are turned to run along it, good ones by less than a quarter",
          "[second_shot]") {
  Reading reading = reading_with({{"orange peel", "", 2, 3}});
  reading.dents[0].length_mm = Quantity{30, 29, 31};
  reading.dents[0].angle_deg = 130;
  const auto across = second_shot(reading, {60, 40});
  REQUIRE(across.has_value());
  CHECK(across->turn_board_deg == Approx(90));
  CHECK_THAT(across->words.front(), ContainsSubstring("run along the spot"));
  CHECK(second_shot(reading, {60, 70})->turn_board_deg == Approx(60));
  CHECK(second_shot(reading, {60, -50})->turn_board_deg == Approx(60));  // they run along it already
}

TEST_CASE("the side where no stripes were judged is told as the photo shows it", "[second_shot]") {
  Reading reading = reading_with({{"orange peel", "", 2, 3}});
  Dent& dent = reading.dents[0];
  reading.outlines_px.emplace_back();
  for (int i = 0; i < 12; ++i) {  // the photo shows the card's y to the left
    const double x = 6 * std::cos(i * 0.5236), y = 6 * std::sin(i * 0.5236);
    dent.outline.push_back({x, y});
    reading.outlines_px[0].emplace_back(1000 - 10 * y, 800 - 10 * x);
  }
  JudgedArea judged;
  judged.x0_mm = judged.y0_mm = -20;
  judged.x1_mm = judged.y1_mm = 20;
  judged.cell_mm = 1;
  for (int row = 0; row < 40; ++row) judged.rows.push_back(std::string(40, row < 22 ? '#' : '.'));
  reading.setup.judged = judged;
  CHECK(second_shot(reading, fine)->stripes_missing == "left");
  for (std::string& row : reading.setup.judged->rows) row = std::string(40, '#');
  CHECK(second_shot(reading, fine)->stripes_missing.empty());
}
