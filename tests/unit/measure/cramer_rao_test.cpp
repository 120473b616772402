// How little the pixels' noise could move a reading at best, and how much it does.
#include "cramer_rao.hpp"

#include <boost/math/distributions/chi_squared.hpp>
#include <cmath>

#include "catch.hpp"
#include "rendered_photo.hpp"

using namespace ripplegauge;

namespace {

using rendered::Bound;

struct Scatter {
  Bound relative;  ///< standard deviations about the mean
  Bound off;       ///< mean minus truth, relative
  int readings = 0;
};

/// Readings of one scene whose photos differ in their noise alone.
Scatter scatter(const rendered::Scene& scene, double noise, int draws) {
  const cv::Mat light = rendered::render(scene);
  const MeasureRequest request = rendered::usual_request(scene);
  const rendered::Dent& dent = scene.dents.at(0);
  std::vector<double> diameter, depth;
  for (int i = 0; i < draws; ++i) {
    const Reading reading =
        measure(rendered::usual_photo(scene, light, noise, static_cast<unsigned>(100 + i)), request).reading;
    if (reading.dents.size() != 1 || !reading.dents[0].depth_mm) continue;
    diameter.push_back(
        std::log(reading.dents[0].diameter_mm.value / std::sqrt(dent.length_mm * dent.width_mm)));
    depth.push_back(std::log(reading.dents[0].depth_mm->value / std::abs(dent.height_mm)));
  }
  Scatter out;
  out.readings = static_cast<int>(diameter.size());
  const auto moments = [](const std::vector<double>& v, double& mean, double& deviation) {
    const double n = static_cast<double>(v.size());
    mean = deviation = 0;
    for (const double x : v) mean += x / n;
    for (const double x : v) deviation += (x - mean) * (x - mean) / (n - 1);
    deviation = std::sqrt(deviation);
  };
  moments(diameter, out.off.diameter, out.relative.diameter);
  moments(depth, out.off.depth, out.relative.depth);
  return out;
}

/// By what factor the scatter of `draws` readings exceeds their true standard deviation once in a hundred
/// times, and falls short of it once in a thousand: it follows a chi square law.
double chance_above(int draws) {
  return std::sqrt(quantile(boost::math::chi_squared(draws - 1), 0.99) / (draws - 1));
}
double chance_below(int draws) {
  return std::sqrt(quantile(boost::math::chi_squared(draws - 1), 0.001) / (draws - 1));
}

/// The scatter is at most three times the bound (`allowance` for few draws). Nor is it below the bound by
/// more than chance: a reading that hardly moves with the noise does not look at the pixels.
void check_scatter(const rendered::Dent& dent, double noise, int draws, double allowance) {
  const rendered::Scene scene = rendered::usual_scene(dent);
  const Bound bound = rendered::cramer_rao({scene}, noise);
  const Scatter found = scatter(scene, noise, draws);
  const double by_diameter = found.relative.diameter / bound.diameter,
               by_depth = found.relative.depth / bound.depth;
  INFO("bound: diameter " << 100 * bound.diameter << " %, depth " << 100 * bound.depth << " %; scatter "
                          << by_diameter << " and " << by_depth << " times that; mean off by "
                          << 100 * found.off.diameter << " % and " << 100 * found.off.depth << " %");
  CHECK(found.readings == draws);
  CHECK(by_diameter < 3 * allowance);
  CHECK(by_depth < 3 * allowance);
  CHECK(by_diameter > chance_below(draws));
  CHECK(by_depth > chance_below(draws));
}

}  // namespace

TEST_CASE("noise moves a simple dent's diameter and depth little more than it must", "[cramer_rao]") {
  constexpr int draws = 4;
  check_scatter(rendered::simple_dent(), 0.01, draws, chance_above(draws));
}

TEST_CASE("noise moves simple dents little more than it must, many draws", "[cramer_rao][slow]") {
  rendered::Dent dent = rendered::simple_dent();
  double noise = 0.01;
  SECTION("low") {}
  SECTION("low, much noise") { noise = 0.03; }
  SECTION("high") { dent.height_mm = 0.15; }
  SECTION("flat-bottomed") { dent.power = 2.8; }
  SECTION("small and deep, stripes in closed loops") {
    dent.length_mm = 11;
    dent.width_mm = 9.5;
    dent.height_mm = -0.16;
  }
  check_scatter(dent, noise, 20, 1);
}
