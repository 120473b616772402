// The tape is a witness: it may be left out, and a wrong one may not make a reading wrong.
#include <algorithm>
#include <cmath>

#include "altered_photos.hpp"
#include "catch.hpp"
#include "measure/tape_witness.hpp"

using namespace ripplegauge;

namespace {

bool holds(const Quantity& q, double truth) { return q.low <= truth && truth <= q.high; }

/// Of the reading's only spot; the truth of the sample's only one.
void check_depth(const Sample& s, const Reading& reading) {
  REQUIRE(reading.dents.size() == 1);
  REQUIRE(reading.dents[0].depth_mm);
  CHECK(holds(*reading.dents[0].depth_mm, s.dents.at(0).at("depth").get<double>()));
}

bool set_aside(const Reading& reading) {
  return std::any_of(reading.warnings.begin(), reading.warnings.end(),
                     [](const Warning& w) { return w.code == "board_distance_doubtful"; });
}

}  // namespace

TEST_CASE("without a tape, pitch and picture tell the depth", "[tape]") {
  for (const char* name : {"low-dark", "low-light", "high-dark", "low-metallic", "pull-before"}) {
    INFO(name);
    Sample s = sample(name);
    s.request.board_distance_mm.reset();
    const Reading reading = measure(s.photo, s.request).reading;
    check_depth(s, reading);
    CHECK(reading.warnings.empty());
  }
}

TEST_CASE("no tape from a third to three times the true distance makes a depth wrong", "[tape]") {
  for (const char* name : {"low-dark", "high-dark"}) {
    Sample s = sample(name);
    const double right_mm = *s.request.board_distance_mm;
    for (const double factor : {0.3, 0.5, 0.8, 0.9, 0.95, 1.05, 1.1, 1.25, 2.0, 3.0}) {
      INFO(name << ", tape " << factor);
      s.request.board_distance_mm = factor * right_mm;
      const Reading reading = measure(s.photo, s.request).reading;
      check_depth(s, reading);
      if (factor < 0.85 || factor > 1.15) CHECK(set_aside(reading));
    }
  }
}

TEST_CASE("a right tape narrows the depth, and is not set aside", "[tape]") {
  Sample s = sample("low-dark");
  const Reading with = measure(s.photo, s.request).reading;
  s.request.board_distance_mm.reset();
  const Reading without = measure(s.photo, s.request).reading;
  REQUIRE(with.dents.size() == 1);
  REQUIRE(without.dents.size() == 1);
  CHECK_FALSE(set_aside(with));
  CHECK(with.setup.board_distance_mm->half_width() < without.setup.board_distance_mm->half_width());
}

TEST_CASE("a tape in centimetres is taken for what it is", "[tape]") {
  Sample s = sample("low-dark");
  s.request.board_distance_mm = 0.1 * *s.request.board_distance_mm;
  const Reading reading = measure(s.photo, s.request).reading;
  check_depth(s, reading);
  const auto warning = std::find_if(reading.warnings.begin(), reading.warnings.end(),
                                    [](const Warning& w) { return w.code == "board_distance_doubtful"; });
  REQUIRE(warning != reading.warnings.end());
  CHECK(warning->message.find("centimetres") != std::string::npos);
}

TEST_CASE("a tape counts for no more than it agrees", "[tape]") {
  const Tape tape{300, 4.5};
  CHECK(witness_uncertainty_mm(tape, 300) == Approx(4.5));
  CHECK(witness_uncertainty_mm(tape, 320) == Approx(std::hypot(4.5, 20)));
}

TEST_CASE("a bar that nobody measured leaves sizes as wide as printers scale", "[bar]") {
  Sample s = sample("low-dark");
  s.request.bar_measured = false;
  const Reading reading = measure(s.photo, s.request).reading;
  REQUIRE(reading.dents.size() == 1);
  const Quantity& d = reading.dents[0].diameter_mm;
  CHECK(holds(d, s.dents.at(0).at("rim").at("eq_diameter").get<double>()));
  CHECK(d.half_width() > 0.04 * d.value);
  check_depth(s, reading);
  CHECK(std::any_of(reading.warnings.begin(), reading.warnings.end(),
                    [](const Warning& w) { return w.code == "bar_not_measured"; }));
}
