#include "ripplegauge/advice/next.hpp"

#include <algorithm>

#include "calibration.hpp"
#include "catch.hpp"
#include "sample_readings.hpp"

using namespace ripplegauge;
using sample::high;
using sample::low;
using sample::reading;

namespace {

bool mentions(const std::string& text, const std::string& part) {
  return text.find(part) != std::string::npos;
}

std::string all_text(const Step& step) {
  std::string text = step.action;
  for (const std::string& point : step.points) text += "\n" + point;
  return text + "\n" + step.reason;
}

PanelFacts steel() {
  PanelFacts facts;
  facts.material = Material::mild_steel;
  facts.paint = Paint::original;
  facts.coating = Coating::none;
  facts.place = Place::open;
  facts.air_c = 18;
  return facts;
}

NextStep next_after(const std::vector<Dent>& before, const std::vector<Dent>& after,
                    const PanelFacts& facts = steel()) {
  const NextStep next = next_step(reading(before), reading(after), facts, sample::with_sample_kit());
  for (const SpotNext& spot : next.spots) {
    CHECK_FALSE(spot.step.action.empty());
    CHECK_FALSE(spot.step.reason.empty());
    CHECK_FALSE(spot.step.facts.empty());
  }
  CHECK_FALSE(next.summary.empty());
  return next;
}

bool warns(const NextStep& next, const std::string& code) {
  return std::any_of(next.warnings.begin(), next.warnings.end(),
                     [&](const Warning& w) { return w.code == code; });
}

}  // namespace

TEST_CASE("gone: stop", "[next]") {
  const NextStep next = next_after({low(22, 0.3)}, {});
  CHECK(next.verdict == Verdict::stop);
  REQUIRE(next.spots.size() == 1);
  CHECK_FALSE(next.spots[0].spot.after);
}

TEST_CASE("below what the eye finds: stop", "[next]") {
  Dent faint = low(22, 0.01);
  faint.max_slope_mrad = Quantity{1.2, 1.0, 1.4};
  CHECK(next_after({low(22, 0.3)}, {faint}).verdict == Verdict::stop);
  // the interval still reaches what can be seen: the eye decides
  faint.max_slope_mrad = Quantity{2.8, 2.4, 3.2};
  const NextStep next = next_after({low(22, 0.3)}, {faint});
  CHECK(next.verdict == Verdict::stop);
  CHECK(mentions(next.spots[0].step.action, "if your eye agrees"));
  faint.max_slope_mrad = Quantity{4, 3.5, 4.5};
  CHECK(next_after({low(22, 0.3)}, {faint}).verdict == Verdict::pull_again);
}

TEST_CASE("partly pulled: again, with the same tab or another, and after how long", "[next]") {
  const NextStep same = next_after({low(22, 0.4)}, {low(22, 0.2)});
  CHECK(same.verdict == Verdict::pull_again);
  const SpotNext& spot = same.spots.front();
  REQUIRE(spot.gone_percent);
  CHECK(spot.gone_percent->value == Approx(50));
  CHECK(spot.gone_percent->low < 50);
  REQUIRE(spot.same_tab);
  REQUIRE(spot.tab);
  CHECK(spot.wait_s);
  CHECK(spot.pull_at);
  CHECK(mentions(all_text(spot.step), "That pull worked"));
  CHECK(mentions(all_text(spot.step), "That pull worked"));

  const NextStep smaller = next_after({low(40, 0.4)}, {low(14, 0.2)});
  REQUIRE(smaller.spots.front().same_tab);
  CHECK_FALSE(*smaller.spots.front().same_tab);
  CHECK(mentions(smaller.spots.front().step.action, "another tab"));
}

TEST_CASE("a pull that did nothing: change something, preparation first", "[next]") {
  const NextStep next = next_after({low(22, 0.30)}, {low(22, 0.29)});
  CHECK(next.verdict == Verdict::pull_again);
  const std::string text = all_text(next.spots.front().step);
  CHECK(mentions(text, "did next to nothing"));
  CHECK(mentions(text, "let go"));
}

TEST_CASE("pulled too far: tap down, where and with which tip", "[next]") {
  Dent proud = high(12, 0.06);
  proud.x_mm = 62;
  const NextStep next = next_after({low(22, 0.3)}, {proud});
  CHECK(next.verdict == Verdict::tap_down);
  const SpotNext& spot = next.spots.front();
  CHECK(spot.where.x_mm == 62);
  REQUIRE(spot.tip);
  CHECK(spot.tip->width_mm == Approx(12));
  CHECK_FALSE(spot.tab);
  CHECK(mentions(all_text(spot.step), "too far"));
  CHECK(mentions(all_text(spot.step), "x 62"));
}

TEST_CASE("a low left in a high: level the ring first", "[next]") {
  Dent ring = high(40, 0.12), inner = low(10, 0.06);
  inner.inside_of = 0;
  for (const bool ring_first : {true, false}) {
    inner.inside_of = ring_first ? 0 : 1;
    const NextStep next =
        next_after({low(30, 0.5)}, ring_first ? std::vector{ring, inner} : std::vector{inner, ring});
    REQUIRE(next.spots.size() == 2);
    CHECK(next.verdict == Verdict::level_ring);
    CHECK(next.spots[0].tip->width_mm == Approx(15));
    CHECK(next.spots[1].verdict == Verdict::pull_again);
    CHECK(mentions(all_text(next.spots[1].step), "only after the raised ring"));
    CHECK_FALSE(next.spots[1].gone_percent);
    CHECK(mentions(all_text(next.spots[1].step), "stayed behind on top of it"));
    CHECK_FALSE(mentions(all_text(next.spots[1].step), "That pull"));
  }
}

TEST_CASE("tapped too far: pull gently", "[next]") {
  const NextStep next = next_after({high(14, 0.1)}, {low(14, 0.1)});
  CHECK(next.verdict == Verdict::pull_again);
  CHECK(mentions(all_text(next.spots.front().step), "tapped too far"));
  CHECK_FALSE(next.spots.front().gone_percent);
}

TEST_CASE("deeper after a pull: photo again", "[next]") {
  CHECK(next_after({low(22, 0.2)}, {low(22, 0.4)}).verdict == Verdict::photo_again);
}

TEST_CASE("beyond pulling or broken paint: stop", "[next]") {
  Dent sharp = low(10, 0.5);
  sharp.min_radius_mm = Quantity{3, 2.8, 3.2};
  CHECK(next_after({low(10, 0.6)}, {sharp}).verdict == Verdict::stop);
  PanelFacts broken = steel();
  broken.paint = Paint::damaged;
  CHECK(next_after({low(22, 0.4)}, {low(22, 0.2)}, broken).verdict == Verdict::stop);
}

TEST_CASE("depth unknown in one reading: still an answer", "[next]") {
  Dent unknown = low(22, 0.2);
  unknown.depth_mm.reset();
  unknown.max_slope_mrad.reset();
  const NextStep next = next_after({low(22, 0.4)}, {unknown});
  CHECK(next.verdict == Verdict::pull_again);
  CHECK_FALSE(next.spots.front().gone_percent);
}

TEST_CASE("spots are matched by place, a new one is called new", "[next]") {
  Dent a = low(22, 0.4), b = low(12, 0.2), fresh = high(9, 0.05);
  b.x_mm = 160;
  fresh.x_mm = 230;
  Dent a_after = low(22, 0.2), b_after = low(12, 0.1);
  b_after.x_mm = 161;
  const auto spots =
      match_spots(reading({a, b}), reading({b_after, fresh, a_after}), sample::with_sample_kit().rules);
  REQUIRE(spots.size() == 3);
  CHECK(spots[0].before == std::optional<std::size_t>(1));
  CHECK_FALSE(spots[1].before);
  CHECK(spots[2].before == std::optional<std::size_t>(0));
}

TEST_CASE("a moved card is noticed", "[next]") {
  Dent far_away = low(22, 0.2);
  far_away.x_mm = 200;
  const NextStep single = next_after({low(22, 0.4)}, {far_away});
  CHECK(warns(single, "card_moved"));
  CHECK(single.spots.size() == 1);
  Dent other = far_away;
  other.x_mm = 300;
  const NextStep several = next_after({low(22, 0.4)}, {far_away, other});
  CHECK(warns(several, "no_match"));
}

TEST_CASE("refused photos are taken again", "[next]") {
  Reading refused;
  refused.refusal = Refusal{"blurred", "the photo is blurred", "hold still"};
  const NextStep next = next_step(reading({low(22, 0.4)}), refused, steel(), sample::with_sample_kit());
  CHECK(next.verdict == Verdict::photo_again);
  CHECK(mentions(next.summary, "blurred"));
}

TEST_CASE("cautions follow the work", "[next]") {
  const auto has = [](const NextStep& next, const char* code) {
    return std::any_of(next.cautions.begin(), next.cautions.end(),
                       [&](const Caution& c) { return c.code == code; });
  };
  const NextStep pull = next_after({low(22, 0.4)}, {low(22, 0.2)}),
                 tap = next_after({low(22, 0.4)}, {high(12, 0.1)});
  CHECK(has(pull, "hot_glue"));
  CHECK(has(pull, "isopropyl_alcohol"));
  CHECK_FALSE(has(tap, "hot_glue"));
  CHECK(has(tap, "eyes_and_ears"));
}

TEST_CASE("as text and JSON", "[next]") {
  const NextStep next = next_after({low(22, 0.4)}, {low(22, 0.2)});
  CHECK(mentions(next_to_text(next), "Pull again"));
  CHECK(mentions(next_to_json(next), "\"verdict\": \"pull_again\""));
  CHECK(mentions(next_to_json(next), "\"gone_percent\""));
}
