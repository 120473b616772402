// The whole search on drawn panels: every kind of explanation once, and what must not be explained.
#include "dents/spot_search.hpp"

#include <algorithm>
#include <cmath>

#include "catch.hpp"
#include "dents/near_line.hpp"
#include "dents/patches.hpp"
#include "drawn_panel.hpp"

using namespace ripplegauge;

namespace {

Drawing usual(std::vector<SpotVector> spots) {
  Drawing drawing;
  drawing.spots = std::move(spots);
  drawing.peel_slope = 4e-4;
  return drawing;
}

const FoundSpot& nearest(const SpotSearchResult& result, double x_mm, double y_mm) {
  REQUIRE_FALSE(result.spots.empty());
  const auto away = [&](const FoundSpot& f) {
    return std::hypot(f.fit.spot[s_x] - x_mm, f.fit.spot[s_y] - y_mm);
  };
  return *std::min_element(result.spots.begin(), result.spots.end(),
                           [&](const FoundSpot& a, const FoundSpot& b) { return away(a) < away(b); });
}

void check_is(const FoundSpot& found, const SpotVector& truth, double relative) {
  const SpotVector& s = found.fit.spot;
  CHECK(s[s_x] == Approx(truth[s_x]).margin(0.3));
  CHECK(s[s_y] == Approx(truth[s_y]).margin(0.3));
  CHECK(mean_radius_mm(s) == Approx(mean_radius_mm(truth)).epsilon(relative));
  CHECK(s[s_height] == Approx(truth[s_height]).epsilon(relative));
}

}  // namespace

TEST_CASE("a low and a high apart are found with their signs, sizes and heights", "[spots]") {
  const SpotVector low = drawn_spot(60, 60, 18, -0.2), high = drawn_spot(110, 75, 12, 0.1);
  const auto panel = draw_panel(usual({low, high}));
  const SpotSearchResult result = find_spots(panel->scene);
  REQUIRE(result.spots.size() == 2);
  CHECK(result.unexplained.empty());
  check_is(nearest(result, 60, 60), low, 0.03);
  check_is(nearest(result, 110, 75), high, 0.03);
}

TEST_CASE("a long dent keeps its direction", "[spots][search]") {
  const SpotVector crease = drawn_spot(90, 65, 20, -0.15, 3, 0.6);
  const auto panel = draw_panel(usual({crease}));
  const SpotSearchResult result = find_spots(panel->scene);
  REQUIRE(result.spots.size() == 1);
  check_is(result.spots[0], crease, 0.04);
  CHECK(elongation(result.spots[0].fit.spot) == Approx(3).epsilon(0.06));
  CHECK(std::sin(outline_of(result.spots[0].fit.spot).angle_rad - 0.6) == Approx(0).margin(0.03));
}

TEST_CASE("smooth and peeled panels without a dent show none", "[spots][search]") {
  for (const double peel : {0.0, 5e-4, 1.2e-3}) {
    INFO("peel " << peel);
    Drawing drawing;
    drawing.peel_slope = peel;
    const auto panel = draw_panel(drawing);
    const SpotSearchResult result = find_spots(panel->scene);
    CHECK(result.spots.empty());
    for (const UnexplainedPlace& place : result.unexplained)
      CHECK(place.loudest < Acceptance{}.surely_disturbed);
  }
}

TEST_CASE("a search that is worn out says so, and ends alike on any number of threads", "[spots][search]") {
  std::vector<SpotVector> many;
  for (int i = 0; i < 6; ++i) many.push_back(drawn_spot(40 + 20 * i, i % 2 ? 50 : 80, 12, -0.15));
  const auto panel = draw_panel(usual(many));
  PanelScene scene = panel->scene;
  CHECK_FALSE(find_spots(scene).worn_out);
  scene.options.effort.most_fitted_pixels = 1e6;
  scene.options.effort.most_fitted_pixels_a_spot = 0;
  scene.threads = 1;
  const SpotSearchResult alone = find_spots(scene);
  CHECK(alone.worn_out);
  CHECK(alone.spots.size() < many.size());
  CHECK_FALSE(alone.unexplained.empty());
  scene.threads = 4;
  const SpotSearchResult helped = find_spots(scene);
  REQUIRE(helped.spots.size() == alone.spots.size());
  for (std::size_t i = 0; i < alone.spots.size(); ++i)
    CHECK(helped.spots[i].fit.spot == alone.spots[i].fit.spot);
}

TEST_CASE("dents that touch are parted", "[spots][search]") {
  const SpotVector left = drawn_spot(75, 65, 14, -0.16), right = drawn_spot(92, 66, 15, -0.18);
  const auto panel = draw_panel(usual({left, right}));
  const SpotSearchResult result = find_spots(panel->scene);
  REQUIRE(result.spots.size() == 2);
  check_is(nearest(result, 75, 65), left, 0.06);
  check_is(nearest(result, 92, 66), right, 0.06);
}

TEST_CASE("of random pairs of near neighbours most are found, and none is taken for something else",
          "[spots][slow]") {
  constexpr int pairs = 24;
  cv::RNG random(5);
  int both = 0, wrong = 0;
  for (unsigned i = 1; i <= pairs; ++i) {
    Drawing drawing;
    drawing.peel_slope = random.uniform(2e-4, 8e-4);
    drawing.pitch_mm = random.uniform(8.0, 14.0);
    drawing.seed = i;
    const double first_mm = random.uniform(9.0, 18.0), second_mm = first_mm * random.uniform(0.7, 1.3);
    const double half_apart_mm = 0.25 * (first_mm + second_mm) * random.uniform(0.95, 1.3),
                 direction = random.uniform(0.0, 6.28);
    const double dx = half_apart_mm * std::cos(direction), dy = half_apart_mm * std::sin(direction);
    drawing.spots = {drawn_spot(85 - dx, 66 - dy, first_mm, -first_mm * random.uniform(0.006, 0.014)),
                     drawn_spot(85 + dx, 66 + dy, second_mm, -second_mm * random.uniform(0.006, 0.014))};
    const SpotSearchResult result = find_spots(draw_panel(drawing)->scene);
    std::size_t right = 0;
    for (const SpotVector& truth : drawing.spots)
      right += std::any_of(result.spots.begin(), result.spots.end(), [&](const FoundSpot& f) {
        const SpotVector& s = f.fit.spot;
        return std::hypot(s[s_x] - truth[s_x], s[s_y] - truth[s_y]) < 1.5 &&
               std::abs(mean_radius_mm(s) / mean_radius_mm(truth) - 1) < 0.1 &&
               std::abs(s[s_height] / truth[s_height] - 1) < 0.15;
      });
    both += right == 2 && result.spots.size() == 2;
    wrong += result.spots.size() > right;
  }
  INFO(both << " of " << pairs << " found, " << wrong << " wrong");
  CHECK(both >= 20);  // 21; 8 before neighbours were believed together
  CHECK(wrong <= 1);  // a first spot too flat over both
}

TEST_CASE("an over-pull is a high inside its low", "[spots][search]") {
  const SpotVector low = drawn_spot(85, 65, 26, -0.25), high = drawn_spot(86, 65, 10, 0.12);
  const auto panel = draw_panel(usual({low, high}));
  const SpotSearchResult result = find_spots(panel->scene);
  REQUIRE(result.spots.size() == 2);
  const auto inner = std::find_if(result.spots.begin(), result.spots.end(),
                                  [](const FoundSpot& f) { return f.inside_of.has_value(); });
  REQUIRE(inner != result.spots.end());
  CHECK(inner->fit.spot[s_height] == Approx(0.12).epsilon(0.25));
  CHECK(result.spots[*inner->inside_of].fit.spot[s_height] == Approx(-0.25).epsilon(0.15));
}

TEST_CASE("a step within a dent is one dent of two spots", "[spots][search]") {
  const SpotVector wide = drawn_spot(85, 65, 28, -0.16), narrow = drawn_spot(91, 67, 8, -0.14);
  const auto panel = draw_panel(usual({wide, narrow}));
  const SpotSearchResult result = find_spots(panel->scene);
  REQUIRE(result.spots.size() == 1);
  REQUIRE(result.spots[0].second);
  const SpotShape<double> first(result.spots[0].fit.spot), second(*result.spots[0].second);
  CHECK(first.at(91, 67).z + second.at(91, 67).z ==
        Approx(SpotShape<double>(wide).at(91, 67).z + SpotShape<double>(narrow).at(91, 67).z).epsilon(0.2));
}

TEST_CASE("a dent half under the card is not measured, one beside it is", "[spots][search]") {
  const SpotVector under = drawn_spot(60, 17, 20, -0.2), beside = drawn_spot(60, 32, 16, -0.15);
  const auto covered = draw_panel(usual({under}));
  for (const FoundSpot& f : find_spots(covered->scene).spots) CHECK(f.judgement.cut_share < 0.35);
  const auto open = draw_panel(usual({beside}));
  const SpotSearchResult result = find_spots(open->scene);
  REQUIRE(result.spots.size() == 1);
  check_is(result.spots[0], beside, 0.06);
}

TEST_CASE("a dark rag in the reflection is no dent, and is named as unexplained", "[spots][search]") {
  Drawing drawing = usual({});
  drawing.spoil = [](double light, double, double, double x, double y) {
    return std::hypot(x - 95, y - 70) < 11 ? 0.05 : light;
  };
  const auto panel = draw_panel(drawing);
  const SpotSearchResult result = find_spots(panel->scene);
  CHECK(result.spots.empty());
  REQUIRE_FALSE(result.unexplained.empty());
  CHECK(std::hypot(result.unexplained[0].x_mm - 95, result.unexplained[0].y_mm - 70) < 11);
  CHECK(result.unexplained[0].width_mm > 12);
  CHECK(result.unexplained[0].loudest > Acceptance{}.surely_disturbed);
}

TEST_CASE("the search is the same on any number of threads", "[spots][search]") {
  const auto panel = draw_panel(
      usual({drawn_spot(60, 60, 18, -0.2), drawn_spot(85, 66, 14, -0.12), drawn_spot(110, 75, 12, 0.1)}));
  const SpotSearchResult alone = find_spots(panel->scene);
  panel->scene.threads = 3;
  const SpotSearchResult helped = find_spots(panel->scene);
  REQUIRE(alone.spots.size() == helped.spots.size());
  for (std::size_t i = 0; i < alone.spots.size(); ++i)
    CHECK(alone.spots[i].fit.spot == helped.spots[i].fit.spot);
}

TEST_CASE("options are obeyed: what must explain more than all is never believed", "[spots][search]") {
  const auto panel = draw_panel(usual({drawn_spot(85, 65, 18, -0.2)}));
  panel->scene.options.acceptance.min_explained = 1.1;
  const SpotSearchResult result = find_spots(panel->scene);
  CHECK(result.spots.empty());
  CHECK_FALSE(result.rejected.empty());
}

TEST_CASE("a spot reaches what its slope can be seen in, and no further", "[spots]") {
  const SpotVector spot = drawn_spot(0, 0, 20, -0.2);
  CHECK(reaches(spot, {8, 0, 4, 1e-5}));   // overlaps
  CHECK(reaches(spot, {16, 0, 2, 1e-4}));  // its foot
  CHECK_FALSE(reaches(spot, {40, 0, 5, 1e-5}));
  CHECK_FALSE(reaches(spot, {19, 0, 2, 1e-2}));
}

TEST_CASE("the least slope that is believed grows with peel and shrinks with size", "[spots]") {
  const Acceptance limits;
  CHECK(least_believable_slope(1e-6, 2, 10) == limits.min_slope);
  CHECK(least_believable_slope(1e-3, 2, 200) == Approx(7e-3));
  // Of few cells: 2 x 18 x 1 mrad over the root of 25 pi / 4.
  CHECK(least_believable_slope(1e-3, 2, 10) == Approx(36e-3 / std::sqrt(0.25 * M_PI * 25)));
}
