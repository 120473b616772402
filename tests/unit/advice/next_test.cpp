#include "advice/next.hpp"

#include <algorithm>
#include <string>
#include <utility>
#include <vector>

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
                    const PanelFacts& facts = steel(), const CompareOptions& options = {}) {
  const NextStep next = next_step(reading(before), reading(after), facts, sample::with_sample_kit(), options);
  for (const SpotNext& spot : next.spots) {
    CHECK_FALSE(spot.step.action.empty());
    CHECK_FALSE(spot.step.reason.empty());
    CHECK_FALSE(spot.step.facts.empty());
  }
  CHECK_FALSE(next.summary.empty());
  return next;
}

/// The same panel, or another, by its crown along the card's long arm.
Reading on_crown(std::vector<Dent> dents, double per_m) {
  Reading panel = reading(std::move(dents));
  panel.setup.crown_x_per_m = Quantity{per_m, per_m - 0.1, per_m + 0.1};
  panel.setup.crown_y_per_m = Quantity{0.1, 0.0, 0.2};
  return panel;
}

NextStep between(const Reading& before, const Reading& after, const CompareOptions& options = {}) {
  return next_step(before, after, steel(), sample::with_sample_kit(), options);
}

CompareOptions card_still() {
  CompareOptions options;
  options.alignment.placement = CardPlacement::same;
  return options;
}

}  // namespace

TEST_CASE("gone is done where the place is proven, else it is done if the place is the same", "[next]") {
  const NextStep alone = next_after({low(22, 0.3)}, {});
  CHECK(alone.verdict == Verdict::done_if_same_place);
  REQUIRE(alone.spots.size() == 1);
  CHECK_FALSE(alone.spots[0].spot.after);
  CHECK(mentions(all_text(alone.spots[0].step), "deeper than 0.022 mm at 22 mm wide"));
  CHECK_FALSE(mentions(alone.summary, "done"));
  // the user's word, or a neighbour that is still there
  CHECK(next_after({low(22, 0.3)}, {}, steel(), card_still()).verdict == Verdict::stop);
  Dent neighbour = low(12, 0.1);
  neighbour.x_mm = 130;
  const NextStep beside = next_after({low(22, 0.3), neighbour}, {neighbour});
  CHECK(beside.verdict == Verdict::pull_again);
  CHECK(beside.spots.back().verdict == Verdict::stop);
}

TEST_CASE("what the photo after does not show is never called done", "[next]") {
  const Reading before = reading({low(22, 0.3)});
  SECTION("the place was not judged") {
    Reading after = reading({});
    for (std::string& row : after.setup.judged->rows) std::fill(row.begin() + 12, row.begin() + 20, '.');
    const NextStep next = between(before, after, card_still());
    CHECK(next.verdict == Verdict::photo_again);
    CHECK(mentions(next.spots.at(0).step.action, "Not shown by this photo"));
  }
  SECTION("the reading does not say what it judged") {
    Reading after = reading({});
    after.setup.judged.reset();
    CHECK(between(before, after, card_still()).verdict == Verdict::photo_again);
  }
  SECTION("so faint a spot would not show") {
    Reading after = reading({});
    after.setup.smallest_visible = {{20, 0.4}};
    CHECK(between(before, after, card_still()).verdict == Verdict::photo_again);
  }
}

TEST_CASE("a coarse photo leaves the last word to the eye", "[next]") {
  Reading after = reading({});
  const auto said = [&](double limit_mm) {
    after.setup.smallest_visible = {{20, limit_mm}};
    return between(reading({low(20, 0.5)}), after, card_still());
  };
  CHECK(mentions(said(0.02).summary, "done here"));
  CHECK(said(0.2).verdict == Verdict::stop);
  CHECK_FALSE(mentions(said(0.2).summary, "done"));
  CHECK(mentions(said(0.2).summary, "if your eye agrees"));
}

TEST_CASE("stopping because the paint is broken is not called done", "[next]") {
  PanelFacts facts = steel();
  facts.paint = Paint::damaged;
  const NextStep next = next_after({low(22, 0.4)}, {low(22, 0.2)}, facts);
  CHECK(next.verdict == Verdict::stop);
  CHECK_FALSE(mentions(next.summary, "done"));
}

TEST_CASE("two cars are never compared to the end", "[next]") {
  const NextStep gone = between(on_crown({low(22, 0.3)}, 0.4), on_crown({}, 1.6));
  CHECK(gone.verdict == Verdict::photo_again);
  CHECK(gone.spots.empty());
  CHECK(mentions(gone.summary, "another panel"));
  // not even where a spot stands in the same place
  CHECK(between(on_crown({low(22, 0.3)}, 0.4), on_crown({low(22, 0.1)}, 1.6)).verdict ==
        Verdict::photo_again);
  CHECK(between(on_crown({low(22, 0.3)}, 0.4), on_crown({low(22, 0.1)}, 0.45)).verdict ==
        Verdict::pull_again);
}

TEST_CASE("swapped photos are noticed", "[next]") {
  Reading earlier = reading({low(22, 0.3)}), later = reading({});
  CHECK(mentions(between(later, earlier).summary, "swapped"));  // nothing stood there before
  later.dents = {low(22, 0.1)};
  later.status = Status::measured;
  earlier.photo.date_taken = "2026-03-14 09:10:00";
  later.photo.date_taken = "2026-03-14 09:30:00";
  CHECK(between(earlier, later).verdict == Verdict::pull_again);
  CHECK(mentions(between(later, earlier).summary, "earlier one first"));
  // a high of 0.04 mm cannot have been tapped down to a low of 0.3 mm
  const NextStep tapped = next_after({high(20, 0.04)}, {low(22, 0.3)});
  CHECK(tapped.verdict == Verdict::photo_again);
  CHECK(mentions(tapped.spots.at(0).step.reason, "swapped"));
  earlier.photo.date_taken.clear();
  earlier.photo.sha256 = "abc";
  CHECK(mentions(between(earlier, earlier).summary, "same photo"));
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
  CHECK(mentions(next.summary, "if your eye agrees"));
  // the same on the other side of the limit
  faint.max_slope_mrad = Quantity{3.2, 2.8, 3.6};
  CHECK(next_after({low(22, 0.3)}, {faint}).spots[0].step.action == next.spots[0].step.action);
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
  sharp.bend_radius_mm = Quantity{3, 2.8, 3.2};
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
  const NextStep next = next_after({a, b}, {b_after, fresh, a_after});
  REQUIRE(next.spots.size() == 3);
  CHECK(next.spots[0].spot.before == std::optional<std::size_t>(0));
  CHECK(next.spots[0].spot.after == std::optional<std::size_t>(2));
  CHECK(next.spots[1].spot.before == std::optional<std::size_t>(1));
  CHECK_FALSE(next.spots[2].spot.before);
  CHECK(next.spots[2].verdict == Verdict::tap_down);
}

TEST_CASE("a moved card is noticed, and nothing is said until it is known", "[next]") {
  Dent far_away = low(22, 0.2);
  far_away.x_mm = 200;
  const NextStep single = next_after({low(22, 0.4)}, {far_away});
  CHECK(single.verdict == Verdict::photo_again);
  CHECK(single.spots.empty());
  CHECK(single.place.card_decides);
  CompareOptions moved;
  moved.alignment.placement = CardPlacement::moved;
  CHECK(next_after({low(22, 0.4)}, {far_away}, steel(), moved).verdict == Verdict::pull_again);
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
  const std::string brief = next_to_text(next), full = next_to_text(next, true);
  CHECK(mentions(brief, "Pull again"));
  CHECK_FALSE(mentions(brief, "CAUTIONS"));
  CHECK(mentions(full, "CAUTIONS"));
  CHECK(std::count(brief.begin(), brief.end(), '\n') <= 14);
  CHECK(mentions(next_to_json(next), "\"verdict\": \"pull_again\""));
  CHECK(mentions(next_to_json(next), "\"gone_percent\""));
}
