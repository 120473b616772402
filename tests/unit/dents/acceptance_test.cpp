// Each rule of acceptance by itself: a judgement that is believed, and each of its figures moved just past
// its limit.
#include "dents/acceptance.hpp"

#include <cmath>
#include <functional>
#include <limits>
#include <string>

#include "catch.hpp"
#include "dents/worth_trying.hpp"
#include "drawn_panel.hpp"

using namespace ripplegauge;

namespace {

/// Of a plain dent under many stripes.
SpotJudgement good() {
  SpotJudgement j;
  j.explained = 0.97;
  j.slope_over_peel = 30;
  j.opposite_ratio = 40;
  j.information_kept = 1;
  j.peel_cells = 60;
  j.looks = 50;
  j.moved_snr = 120;
  j.disturbed_level = 20;
  j.quiet_level = 0.6;
  j.far_level = 0.6;
  return j;
}

/// On a panel that is quiet everywhere, with the spot in its open middle.
struct OpenPanel {
  std::unique_ptr<DrawnPanel> panel = draw_panel({});
  Attempt attempt{{}, good(), true};
  OpenPanel() { attempt.fit.spot = drawn_spot(90, 70, 16, -0.15); }
  bool believed() const { return believable(panel->scene, attempt, outline_of(attempt.fit.spot)); }
};

}  // namespace

TEST_CASE("a fit is believed where all rules hold, and by none less", "[acceptance]") {
  OpenPanel p;
  REQUIRE(p.believed());
  const Acceptance limits;
  const auto fails = [&](const std::string& rule, const std::function<void(Attempt&)>& change) {
    INFO(rule);
    const Attempt before = p.attempt;
    change(p.attempt);
    CHECK_FALSE(p.believed());
    p.attempt = before;
  };
  fails("unusable", [](Attempt& a) { a.usable = false; });
  fails("explains too little", [&](Attempt& a) { a.judgement.explained = limits.min_explained - 0.01; });
  fails("no steeper than peel",
        [&](Attempt& a) { a.judgement.slope_over_peel = limits.min_slope_over_peel - 0.1; });
  fails("burnt out", [&](Attempt& a) { a.judgement.information_kept = 0.9 * limits.min_information; });
  fails("moves stripes as peel does",
        [&](Attempt& a) { a.judgement.moved_snr = limits.min_loud_moved_snr - 0.1; });
  fails("shows no stripes", [&](Attempt& a) { a.judgement.still_share = limits.max_still_share + 0.01; });
  fails("loud ring", [&](Attempt& a) { a.judgement.quiet_level = limits.max_quiet_level + 0.1; });
  fails("sign not told", [&](Attempt& a) { a.judgement.opposite_ratio = limits.min_opposite_ratio - 0.01; });
  fails("cut", [&](Attempt& a) { a.judgement.cut_share = limits.max_cut_share + 0.01; });
  fails("shallow", [](Attempt& a) { a.fit.spot[s_height] = -0.002; });
  fails("steep as torn metal", [](Attempt& a) { a.fit.spot[s_height] = -2; });
  fails("a scratch", [](Attempt& a) { a.fit.spot[s_log_b] = std::log(1.3); });
  fails("a streak", [](Attempt& a) { a.fit.spot[s_log_b] = a.fit.spot[s_log_a] - std::log(7.1); });
  fails("wider than a patch", [](Attempt& a) {
    a.fit.spot[s_log_a] = a.fit.spot[s_log_b] = std::log(46);
    a.fit.spot[s_height] = -1;
  });
  fails("under the card", [](Attempt& a) { a.fit.spot.head<2>() << 50, 10; });
  fails("at the stripes' edge", [](Attempt& a) { a.fit.spot[s_y] = 116; });
}

TEST_CASE("a fit far from what it should explain is not believed", "[acceptance]") {
  const OpenPanel p;
  Outline elsewhere = outline_of(p.attempt.fit.spot);
  elsewhere.x_mm += 1.3 * elsewhere.radius_mm;
  CHECK_FALSE(believable(p.panel->scene, p.attempt, elsewhere));
}

TEST_CASE("how far stripes must move falls from 18 to 12 as a spot gets louder", "[acceptance]") {
  const Acceptance limits;
  SpotJudgement j = good();
  const auto needed = [&](double excess) {
    j.disturbed_level = j.quiet_level + excess;
    return needed_moved_snr(j, limits);
  };
  CHECK(needed(3) == Approx(18));
  CHECK(needed(6) == Approx(18));
  CHECK(needed(std::sqrt(6.0 * 12)) == Approx(std::sqrt(18.0 * 12)));  // half way, geometrically
  CHECK(needed(12) == Approx(12));
  CHECK(needed(100) == Approx(12));
}

TEST_CASE("a whisper over many cells of peel is louder than peel, over few it is not", "[acceptance]") {
  const Acceptance limits;
  SpotJudgement j;
  j.disturbed_level = 0.5;
  j.quiet_level = 0.05;
  j.peel_cells = 40;
  j.moved_snr = 50;
  CHECK_FALSE(loud(j, limits));
  CHECK(wide_and_faint(j, limits));
  CHECK(louder_than_peel(j, limits));
  j.peel_cells = 20;
  CHECK_FALSE(wide_and_faint(j, limits));
  j.peel_cells = 40;
  j.quiet_level = 0.1;  // not many times louder than what is around
  CHECK_FALSE(wide_and_faint(j, limits));
  j.quiet_level = 0.05;
  j.moved_snr = 44;
  CHECK_FALSE(louder_than_peel(j, limits));
}

TEST_CASE("what few looks tell must be explained nearly whole and stand out by them alone", "[acceptance]") {
  const Acceptance limits;
  SpotJudgement j = good();
  j.looks = 4;
  j.disturbed_level = j.quiet_level + 8;
  j.moved_snr = 120;
  REQUIRE(hangs_on_few_looks(j, limits));
  CHECK(more_than_few_looks(j, limits));  // 120 sqrt(4 / 60) = 31, above 18
  j.moved_snr = 60;
  CHECK_FALSE(more_than_few_looks(j, limits));
  j.moved_snr = 120;
  j.explained = 0.9;
  CHECK_FALSE(more_than_few_looks(j, limits));
  j.disturbed_level = j.quiet_level + 13;  // louder than peel ever is
  CHECK(more_than_few_looks(j, limits));
  j.disturbed_level = j.quiet_level + 8;
  j.looks = 4.1;
  CHECK(more_than_few_looks(j, limits));
}

TEST_CASE("a loud ring is forgiven where the spot is many times louder", "[acceptance]") {
  const Acceptance limits;
  SpotJudgement j = good();
  j.quiet_level = 2.6;
  CHECK_FALSE(quiet_around(j, limits));
  CHECK(quiet_around(j, limits, 2));
  j.disturbed_level = 40;
  CHECK(quiet_around(j, limits));
}

TEST_CASE("a sign that likelihood settles needs no margin, unless most of it is burnt out", "[acceptance]") {
  const Acceptance limits;
  SpotJudgement j = good();
  SpotFit fit;
  j.opposite_ratio = 1.1;
  CHECK_FALSE(sign_is_told(fit, j, limits));
  fit.sign_settled = true;
  CHECK(sign_is_told(fit, j, limits));
  j.information_kept = 0.4;
  CHECK_FALSE(sign_is_told(fit, j, limits));
}

TEST_CASE("a small shallow spot in or beside another may be that one's misfit", "[acceptance]") {
  const Acceptance limits;
  FoundSpot outer;
  outer.fit.spot = drawn_spot(0, 0, 30, -0.3);
  outer.judgement.explained = 0.96;  // leaves a fifth of its slope
  const auto may_be = [&](double x_mm, double diameter_mm, double height_mm) {
    return may_be_misfit({outer}, drawn_spot(x_mm, 0, diameter_mm, height_mm), limits);
  };
  CHECK(may_be(5, 10, 0.05));        // half as steep as the outer one: less than three times a fifth
  CHECK_FALSE(may_be(5, 10, 0.08));  // steeper than that
  CHECK(may_be(25, 10, 0.015));      // beside: once a fifth
  CHECK_FALSE(may_be(25, 10, 0.05));
  CHECK_FALSE(may_be(40, 10, 0.015));  // too far away
  CHECK_FALSE(may_be(5, 24, 0.08));    // too wide for a misfit
  outer.second = drawn_spot(30, 0, 20, -0.2);
  CHECK(may_be(40, 10, 0.015));  // but near its other half
}

TEST_CASE("a fit that explains most and hardly moves the stripes is peel", "[acceptance]") {
  const DentOptions options;
  SpotJudgement j = good();
  j.moved_snr = 8;
  CHECK(moves_as_peel_does(j, options));
  j.moved_snr = 9;
  CHECK_FALSE(moves_as_peel_does(j, options));
  j.moved_snr = 8;
  j.explained = 0.5;  // right or wrong, it tells little
  CHECK_FALSE(moves_as_peel_does(j, options));
}

TEST_CASE("more is tried for what is loud, compact and not explained, not for a right fit or a streak",
          "[acceptance]") {
  OpenPanel p;
  const Outline outline = outline_of(p.attempt.fit.spot);
  const double quiet_peak = 10, sure_peak = 20;
  CHECK_FALSE(worth_more_starts(p.panel->scene, p.attempt, outline, quiet_peak));
  CHECK_FALSE(worth_parting(p.panel->scene, p.attempt));
  p.attempt.judgement.explained = 0.8;
  CHECK(worth_more_starts(p.panel->scene, p.attempt, outline, quiet_peak));
  CHECK(worth_parting(p.panel->scene, p.attempt));
  Outline streak = outline;
  streak.elongation = 4.1;
  CHECK_FALSE(worth_more_starts(p.panel->scene, p.attempt, streak, quiet_peak));
  Outline speck = outline;
  speck.radius_mm = 1.9;
  CHECK_FALSE(worth_more_starts(p.panel->scene, p.attempt, speck, quiet_peak));
  p.attempt.judgement.disturbed_level = p.attempt.judgement.quiet_level + 1;
  CHECK_FALSE(worth_more_starts(p.panel->scene, p.attempt, outline, quiet_peak));
  CHECK_FALSE(worth_parting(p.panel->scene, p.attempt));
  CHECK(worth_more_starts(p.panel->scene, p.attempt, outline, sure_peak));
  p.attempt.usable = false;
  CHECK(worth_more_starts(p.panel->scene, p.attempt, outline, sure_peak));
  CHECK_FALSE(worth_more_starts(p.panel->scene, p.attempt, outline, quiet_peak));
}

TEST_CASE("a fit that leaves its ring louder than what lies beyond is parted", "[acceptance]") {
  OpenPanel p;
  p.attempt.judgement.quiet_level = 1.1;
  CHECK(worth_parting(p.panel->scene, p.attempt));  // 1.1 against 0.6
  p.attempt.judgement.far_level = 0.7;
  CHECK_FALSE(worth_parting(p.panel->scene, p.attempt));
}

TEST_CASE("what is seen of an outline and of its edge", "[acceptance]") {
  const OpenPanel p;
  const ResidualField& field = p.panel->residual;
  CHECK(seen_share(field, {90, 70, 10}) == 1);
  CHECK(seen_share(field, {50, 0, 8}) == 0);  // the card's paper
  const double at_edge = seen_share(field, {50, 16, 10, 1, 0});
  CHECK(at_edge > 0.4);
  CHECK(at_edge < 0.7);
  CHECK(ring_seen(p.panel->scene, {90, 70, 10}) == 1);
  CHECK(ring_seen(p.panel->scene, {90, 20, 10}) == 1);  // the card counts as seen
  CHECK(ring_seen(p.panel->scene, {90, 122, 10}) < 0.6);
  CHECK(near_paper_mm(p.panel->scene, 50, 24) == Approx(10));
  CHECK(near_paper_mm(p.panel->scene, 50, 0) == 0);
}
