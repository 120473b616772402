// Dents close to one another, whose bends of the stripes run together; and few stripes.
#include <algorithm>
#include <cmath>

#include "catch.hpp"
#include "random_scene.hpp"

using namespace ripplegauge;

namespace {

rendered::Dent dent_at(double x_mm, double y_mm, double diameter_mm, double slope) {
  rendered::Dent dent;
  dent.x_mm = x_mm;
  dent.y_mm = y_mm;
  dent.length_mm = dent.width_mm = diameter_mm;
  dent.height_mm = 1;
  dent.height_mm = -slope / dent.steepest();
  return dent;
}

}  // namespace

TEST_CASE("dents that stand in a row and in a group are all found, and nothing between them",
          "[many_dents]") {
  rendered::Scene scene = rendered::usual_scene(dent_at(62, 45, 14, 0.04));
  for (const rendered::Dent& dent :
       {dent_at(44, 40, 9, 0.03), dent_at(46, 55, 6.5, 0.028), dent_at(57, 66, 12, 0.036),
        dent_at(75, 33, 7, 0.03), dent_at(80, 48, 8, 0.03), dent_at(74, 62, 8.5, 0.03)})
    scene.dents.push_back(dent);
  constexpr double noise = 0.006;
  const Reading reading =
      measure(rendered::usual_photo(scene, rendered::render(scene), noise, 3), rendered::usual_request(scene))
          .reading;
  INFO(to_string(reading.status) << (reading.refusal ? ": " + reading.refusal->message : ""));
  CHECK(reading.dents.size() == scene.dents.size());
  for (const rendered::Dent& truth : scene.dents) {
    INFO("the dent at " << truth.x_mm << ", " << truth.y_mm);
    const auto found = std::find_if(reading.dents.begin(), reading.dents.end(), [&](const Dent& d) {
      return std::hypot(d.x_mm - truth.x_mm, d.y_mm - truth.y_mm) < 0.1 * truth.length_mm;
    });
    REQUIRE(found != reading.dents.end());
    CHECK(std::abs(found->diameter_mm.value - truth.diameter_mm()) < 0.03 * truth.diameter_mm());
    CHECK(found->kind == Kind::low);
  }
}

TEST_CASE("stripes that cover little more than the card and the dent are followed", "[many_dents]") {
  rendered::Scene scene = rendered::usual_scene(dent_at(60, 42, 12, 0.035));
  scene.board.half_across_mm = scene.board.half_along_mm =
      75;  // a tenth of what the photo shows of the panel
  constexpr double noise = 0.006;
  const Reading reading =
      measure(rendered::usual_photo(scene, rendered::render(scene), noise, 5), rendered::usual_request(scene))
          .reading;
  INFO(to_string(reading.status) << (reading.refusal ? ": " + reading.refusal->message : ""));
  REQUIRE(reading.dents.size() == 1);
  CHECK(std::abs(reading.dents[0].diameter_mm.value - scene.dents[0].diameter_mm()) <
        0.02 * scene.dents[0].diameter_mm());
}
