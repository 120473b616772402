// What stands near a dent, or where there is none: a trim, a handle, a badge, an arch, an edge, strong and
// hollow crowns.
#include <algorithm>
#include <cmath>
#include <numbers>
#include <sstream>
#include <vector>

#include "catch.hpp"
#include "core/quantile.hpp"
#include "random_surroundings.hpp"
#include "ripplegauge/core/findings.hpp"

using namespace ripplegauge;
using rendered::Surrounding;

namespace {

Reading read(Surrounding kind, unsigned seed, bool dent) {
  const auto random = rendered::random_surrounding(kind, seed, dent);
  if (!random) return {};
  return measure(random->photo(seed), random->request).reading;
}

/// Photos of one kind of surroundings, and how they were read.
struct Tally {
  int photos = 0, measured = 0, refused = 0, denied = 0, false_finds = 0, silent = 0;
  int diameter_held = 0, depth_held = 0;
};

/// From the dent's middle to the nearest place that is covered.
double way_to_cover_mm(const rendered::RandomPhoto& random) {
  const rendered::Dent& dent = random.scene.dents.at(0);
  constexpr double step_mm = 0.25, furthest_mm = 150;
  constexpr int directions = 360;
  for (double way_mm = 0; way_mm < furthest_mm; way_mm += step_mm)
    for (int i = 0; i < directions; ++i) {
      const double angle = 2 * std::numbers::pi * i / directions, x = dent.x_mm + way_mm * std::cos(angle),
                   y = dent.y_mm + way_mm * std::sin(angle);
      for (const rendered::Cover& cover : random.scene.covers)
        if (cover.holds(x, y)) return way_mm;
    }
  return furthest_mm;
}

/// Whether a find is the dent that was drawn.
bool is_drawn(const Dent& found, const rendered::RandomPhoto& random) {
  if (random.scene.dents.empty()) return false;
  const rendered::Dent& dent = random.scene.dents[0];
  return std::hypot(found.x_mm - dent.x_mm, found.y_mm - dent.y_mm) < 0.5 * random.diameter_mm;
}

void count(const Reading& reading, const rendered::RandomPhoto& random, Tally& tally) {
  ++tally.photos;
  tally.refused += reading.status == Status::refused;
  tally.denied += reading.status == Status::no_dent && !random.scene.dents.empty();
  for (const Dent& found : reading.dents) {
    if (!is_drawn(found, random)) {
      ++tally.false_finds;
      tally.silent += reading.warnings.empty();
      continue;
    }
    ++tally.measured;
    tally.diameter_held += rendered::holds(found.diameter_mm, random.diameter_mm);
    tally.depth_held += found.depth_mm && rendered::holds(*found.depth_mm, random.depth_mm);
  }
}

}  // namespace

TEST_CASE("a trim, an arch or a gap beside a dent does not keep it from being measured", "[surroundings]") {
  const auto kind = GENERATE(Surrounding::trim, Surrounding::arch, Surrounding::edge);
  constexpr unsigned seed = 12;
  const auto random = rendered::random_surrounding(kind, seed, true);
  REQUIRE(random);
  const Reading reading = measure(random->photo(seed), random->request).reading;
  REQUIRE(reading.dents.size() == 1);
  CHECK(reading.dents[0].diameter_mm.value == Approx(random->diameter_mm).epsilon(0.02));
  CHECK(reading.dents[0].depth_mm->value == Approx(random->depth_mm).epsilon(0.05));
}

TEST_CASE("a trim or an arch is no dent, and no reason to refuse the photo", "[surroundings]") {
  const auto kind = GENERATE(Surrounding::trim, Surrounding::arch);
  constexpr unsigned seed = 12;
  CHECK(read(kind, seed, false).status == Status::no_dent);
}

TEST_CASE("a badge is no dent, no reason to refuse the photo, and said to hide its place", "[surroundings]") {
  const unsigned bright = 1, on_fine_stripes = 7;
  for (const unsigned seed : {bright, on_fine_stripes}) {
    const Reading reading = read(Surrounding::badge, seed, false);
    CHECK(reading.status == Status::no_dent);
    CHECK(std::any_of(reading.warnings.begin(), reading.warnings.end(),
                      [](const Warning& w) { return is(w, PhotoFinding::not_all_measured); }));
  }
}

TEST_CASE("the next panel, behind a gap and tilted, is no body line", "[surroundings]") {
  constexpr unsigned narrow_gap = 8;
  const Reading reading = read(Surrounding::edge, narrow_gap, false);
  CHECK(reading.status == Status::no_dent);
  CHECK_FALSE(reading.setup.body_line);
}

TEST_CASE("how far from a dent the panel ends is told where it is seen", "[surroundings]") {
  const auto kind = GENERATE(Surrounding::trim, Surrounding::edge, Surrounding::badge);
  constexpr unsigned seed = 12;
  const auto random = rendered::random_surrounding(kind, seed, true);
  REQUIRE(random);
  const Reading reading = measure(random->photo(seed), random->request).reading;
  REQUIRE(reading.dents.size() == 1);
  REQUIRE(reading.dents[0].panel_end_mm);
  CHECK(rendered::holds(*reading.dents[0].panel_end_mm, way_to_cover_mm(*random)));
}

TEST_CASE("a dent so deep that its stripes crowd to grey is nothing that covers the panel",
          "[surroundings]") {
  rendered::Scene scene = rendered::usual_scene({.x_mm = 60, .y_mm = 48, .height_mm = -0.75});
  scene.board.pitch_mm = 6;
  const Reading reading =
      measure(rendered::usual_photo(scene, rendered::render(scene), 0.008, 1), rendered::usual_request(scene))
          .reading;
  CHECK(reading.status != Status::no_dent);
}

TEST_CASE("a flattened body line is no all-clear", "[surroundings]") {
  constexpr unsigned hard_to_see = 1;
  const auto random = rendered::random_surrounding(Surrounding::flattened_line, hard_to_see, true);
  REQUIRE(random);
  CHECK(measure(random->photo(hard_to_see), random->request).reading.status != Status::no_dent);
}

TEST_CASE("a flattened body line is told over its length, with what it lost", "[surroundings]") {
  constexpr unsigned seed = 3;
  const auto random = rendered::random_surrounding(Surrounding::flattened_line, seed, true);
  REQUIRE(random);
  const Reading reading = measure(random->photo(seed), random->request).reading;
  REQUIRE(reading.dents.size() == 1);
  REQUIRE(reading.dents[0].flattened_line);
  const FlattenedLine& told = *reading.dents[0].flattened_line;
  CHECK(told.length_mm.value == Approx(random->diameter_mm).epsilon(0.1));
  CHECK(told.depth_mm.value == Approx(random->depth_mm).epsilon(0.2));
}

TEST_CASE("a dent beside a body line does not flatten it", "[surroundings]") {
  const auto random = rendered::random_surrounding(Surrounding::line, 2, true);
  REQUIRE(random);
  const Reading reading = measure(random->photo(2), random->request).reading;
  REQUIRE(reading.dents.size() == 1);
  REQUIRE(reading.setup.body_line);
  CHECK_FALSE(reading.dents[0].flattened_line);
}

TEST_CASE("body lines flattened at random", "[surroundings][slow]") {
  int photos = 0, told = 0, length_held = 0, depth_held = 0;
  std::vector<double> length_off, depth_off;
  for (unsigned seed = 1; seed <= 40; ++seed) {
    const auto random = rendered::random_surrounding(Surrounding::flattened_line, seed, true);
    if (!random) continue;
    ++photos;
    const Reading reading = measure(random->photo(seed), random->request).reading;
    CHECK(reading.status != Status::no_dent);
    if (reading.dents.size() != 1 || !reading.dents[0].flattened_line) continue;
    ++told;
    const FlattenedLine& line = *reading.dents[0].flattened_line;
    length_held += rendered::holds(line.length_mm, random->diameter_mm);
    depth_held += rendered::holds(line.depth_mm, random->depth_mm);
    length_off.push_back(std::abs(line.length_mm.value / random->diameter_mm - 1));
    depth_off.push_back(std::abs(line.depth_mm.value / random->depth_mm - 1));
  }
  REQUIRE(told > 0);
  const double length = quantile_of(length_off, 0.5), depth = quantile_of(depth_off, 0.5);
  WARN(told << " of " << photos << " flattened lines told: length off by " << 100 * length
            << " % in the median, depth by " << 100 * depth << " %; " << length_held << " and " << depth_held
            << " intervals hold");
  CHECK(told >= 0.7 * photos);
  CHECK(length < 0.1);
  CHECK(length_held >= 0.85 * told);
  CHECK(depth < 0.15);
  CHECK(depth_held >= 0.85 * told);
}

TEST_CASE("surroundings drawn at random", "[surroundings][slow]") {
  struct Kind {
    Surrounding kind;
    const char* name;
  };
  const auto [kind, name] = GENERATE(values<Kind>({{Surrounding::edge, "edge"},
                                                   {Surrounding::trim, "trim"},
                                                   {Surrounding::handle, "handle"},
                                                   {Surrounding::badge, "badge"},
                                                   {Surrounding::arch, "arch"},
                                                   {Surrounding::two_lines, "two lines"},
                                                   {Surrounding::strong_crown, "strong crown"},
                                                   {Surrounding::uneven_crown, "uneven crown"},
                                                   {Surrounding::hollow, "hollow"}}));
  constexpr unsigned photos = 14;
  Tally beside, alone;
  for (unsigned seed = 1; seed <= photos; ++seed)
    for (const bool dent : {true, false})
      if (const auto random = rendered::random_surrounding(kind, seed, dent))
        count(measure(random->photo(seed), random->request).reading, *random, dent ? beside : alone);
  std::ostringstream line;
  line << name << ": " << beside.measured << " of " << beside.photos << " measured, " << beside.diameter_held
       << " and " << beside.depth_held << " intervals hold, " << beside.refused << " refused, "
       << beside.denied << " denied, " << beside.false_finds << " false; without a dent: " << alone.refused
       << " of " << alone.photos << " refused, " << alone.false_finds << " false; "
       << beside.silent + alone.silent << " false without a warning";
  WARN(line.str());
  CHECK(beside.measured >= 0.8 * beside.photos);
  CHECK(beside.diameter_held >= 0.8 * beside.measured);
  CHECK(beside.depth_held >= 0.8 * beside.measured);
  CHECK(beside.silent + alone.silent <= 1);
}
