// Panels with a body line in view: rendered with another rounding of the fold than the library's.
#include <cmath>
#include <optional>
#include <random>
#include <tuple>
#include <vector>

#include "catch.hpp"
#include "core/quantile.hpp"
#include "random_surroundings.hpp"
#include "rendered_photo.hpp"

using namespace ripplegauge;

namespace {

struct Case {
  double place_mm, normal_deg, turn, width_mm;
};

rendered::Scene scene_of(const Case& c, const rendered::Dent& dent) {
  rendered::Scene scene = rendered::usual_scene(dent);
  scene.lines = {{c.place_mm, c.normal_deg, c.turn, c.width_mm}};
  return scene;
}

Reading read(const rendered::Scene& scene) {
  const Photo photo = rendered::usual_photo(scene, rendered::render(scene), 0.004, 3);
  return measure(photo, rendered::usual_request(scene)).reading;
}

rendered::Dent dent_at(double x_mm, double y_mm) {
  rendered::Dent dent;
  dent.x_mm = x_mm;
  dent.y_mm = y_mm;
  dent.length_mm = 14;
  dent.width_mm = 13;
  dent.height_mm = -0.12;
  return dent;
}

// Lines above and to the right of the dent, soft and sharp, turning away and up.
constexpr Case lines[] = {{85, 75, 0.04, 2}, {100, 40, 0.12, 2.5}, {95, 60, 0.18, 3}, {90, 80, -0.05, 2.5}};

}  // namespace

TEST_CASE("a dent beside a body line is measured against the folded panel", "[body_line]") {
  int measured = 0;
  for (const Case& c : lines) {
    CAPTURE(c.place_mm, c.normal_deg, c.turn);
    const rendered::Dent dent = dent_at(60, 45);
    const Reading reading = read(scene_of(c, dent));
    if (reading.dents.size() != 1) continue;
    ++measured;
    REQUIRE(reading.setup.body_line);
    CHECK(reading.setup.body_line->turn_deg.value ==
          Approx(c.turn * 180 / std::numbers::pi).epsilon(0.05).margin(0.2));
    CHECK(reading.dents[0].diameter_mm.value == Approx(dent.diameter_mm()).epsilon(0.03));
    REQUIRE(reading.dents[0].depth_mm);
    CHECK(reading.dents[0].depth_mm->value == Approx(0.12).epsilon(0.08));
  }
  CHECK(measured >= 3);
}

TEST_CASE("a body line is no dent, and dents in its way are not denied", "[body_line]") {
  for (const Case& c : lines) {
    CAPTURE(c.place_mm, c.normal_deg, c.turn);
    rendered::Scene scene = scene_of(c, dent_at(60, 45));
    scene.dents.clear();
    CHECK(read(scene).status != Status::measured);
    const double normal = c.normal_deg * std::numbers::pi / 180;
    for (const double off_mm : {-6.0, 0.0, 8.0}) {
      CAPTURE(off_mm);
      const double s = c.place_mm + off_mm - (60 * std::cos(normal) + 45 * std::sin(normal));
      CHECK(read(scene_of(c, dent_at(60 + s * std::cos(normal), 45 + s * std::sin(normal)))).status !=
            Status::no_dent);
    }
  }
}

TEST_CASE("no body line is seen where there is none", "[body_line]") {
  for (const double x_mm : {45.0, 70.0})
    CHECK_FALSE(read(rendered::usual_scene(dent_at(x_mm, 50))).setup.body_line);
}

TEST_CASE("dents beside, touching and across a random body line", "[body_line][slow]") {
  struct Tally {
    int photos = 0, measured = 0, diameter_held = 0, depth_held = 0;
    std::vector<double> diameter_off, depth_off;
  } beside, across;
  for (unsigned seed = 1; seed <= 60; ++seed) {
    std::mt19937 generator(seed + 1000);
    const double beyond_mm = std::uniform_real_distribution<double>(-30, 25)(generator);
    std::mt19937 of_line(seed);
    const auto random = rendered::with_body_line(rendered::random_photo(seed), of_line, -beyond_mm);
    if (!random) continue;
    CAPTURE(seed, beyond_mm);
    constexpr double rounding_mm = 5;
    Tally& t = std::abs(beyond_mm) < 0.5 * random->scene.dents[0].length_mm + rounding_mm ? across : beside;
    const Reading reading = measure(random->photo(seed), random->request).reading;
    ++t.photos;
    CHECK(reading.status != Status::no_dent);
    CHECK(reading.dents.size() <= 1);
    if (reading.dents.empty() || !reading.dents[0].depth_mm) continue;
    ++t.measured;
    const Quantity &diameter = reading.dents[0].diameter_mm, &depth = *reading.dents[0].depth_mm;
    t.diameter_held += rendered::holds(diameter, random->diameter_mm);
    t.depth_held += rendered::holds(depth, random->depth_mm);
    t.diameter_off.push_back(std::abs(diameter.value / random->diameter_mm - 1));
    t.depth_off.push_back(std::abs(depth.value / random->depth_mm - 1));
  }
  for (const auto& [t, worst_diameter, worst_depth] :
       {std::tuple{&beside, 0.005, 0.01}, {&across, 0.02, 0.04}}) {
    CAPTURE(t->photos, t->measured, t->diameter_held, t->depth_held);
    CHECK(t->measured >= 0.7 * t->photos);
    CHECK(t->diameter_held >= 0.85 * t->measured);
    CHECK(t->depth_held >= 0.85 * t->measured);
    CHECK(quantile_of(t->diameter_off, 0.5) < worst_diameter);
    CHECK(quantile_of(t->depth_off, 0.5) < worst_depth);
  }
}
