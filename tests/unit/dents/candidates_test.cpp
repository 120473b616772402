#include "dents/candidates.hpp"

#include <algorithm>
#include <cmath>

#include "catch.hpp"

using namespace ripplegauge;

namespace {

/// A quiet panel on which these discs are disturbed, but for a quiet line along x this wide through every
/// `period_mm` of y.
std::vector<Candidate> candidates_of(const std::vector<Disc>& discs, double quiet_mm = 0,
                                     double period_mm = 6) {
  ResidualField field;
  field.grid = {-20, -30, 0.35, 400, 350};
  DisturbanceMap map;
  map.energy = cv::Mat(field.grid.rows, field.grid.columns, CV_32FC1, cv::Scalar(0.5));
  map.score = cv::Mat::zeros(map.energy.size(), CV_32FC1);
  for (int r = 0; r < field.grid.rows; ++r)
    for (int c = 0; c < field.grid.columns; ++c)
      for (const Disc& d : discs) {
        const double x = field.grid.x_mm(c), y = field.grid.y_mm(r);
        if (std::hypot(x - d.x_mm, y - d.y_mm) > d.radius_mm ||
            std::abs(std::remainder(y - d.y_mm, period_mm)) < 0.5 * quiet_mm)
          continue;
        map.energy.at<float>(r, c) = 30, map.score.at<float>(r, c) = 200;
      }
  field.period_mm = 6;
  return find_candidates(field, map, [](const Candidate&) { return true; });
}

}  // namespace

TEST_CASE("a disturbance has the place and the size of what is disturbed", "[candidates]") {
  const auto found = candidates_of({{40, 30, 8}, {80, 10, 5}});
  REQUIRE(found.size() == 2);
  for (const Candidate& c : found) {
    const Disc truth = c.outline.x_mm < 60 ? Disc{40, 30, 8} : Disc{80, 10, 5};
    CHECK(std::hypot(c.outline.x_mm - truth.x_mm, c.outline.y_mm - truth.y_mm) < 0.3);
    CHECK(std::abs(c.outline.radius_mm - truth.radius_mm) < 0.4);
    CHECK(c.partings.empty());
  }
}

TEST_CASE("discs that nearly touch are one disturbance with as many round parts", "[candidates]") {
  const std::vector<Disc> truth{{18, 20, 9}, {33, 28, 7}, {45, 18, 8}};
  const auto found = candidates_of(truth);
  REQUIRE(found.size() == 1);
  REQUIRE_FALSE(found[0].partings.empty());
  for (const std::vector<Outline>& lobes : found[0].partings) {
    CHECK(lobes.size() == truth.size());
    for (const Disc& d : truth)
      CHECK(std::any_of(lobes.begin(), lobes.end(), [&](const Outline& lobe) {
        return std::hypot(lobe.x_mm - d.x_mm, lobe.y_mm - d.y_mm) < 1.5 &&
               std::abs(lobe.radius_mm - d.radius_mm) < 1.5;
      }));
  }
}

TEST_CASE("quiet lines between the stripes part nothing", "[candidates]") {
  const auto found = candidates_of({{40, 30, 6.5}}, 2.5);
  REQUIRE(found.size() == 1);
  CHECK(found[0].partings.empty());
}
