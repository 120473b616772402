#include "ripplegauge/advice/next.hpp"

#include <algorithm>
#include <cmath>

#include "facts.hpp"
#include "ripplegauge/advice/cautions.hpp"
#include "ripplegauge/core/power_product.hpp"
#include "spot_steps.hpp"

namespace ripplegauge {
namespace {

struct Context {
  const Reading &before, &after;
  const PanelFacts& facts;
  const AdviceData& data;

  const Dent* earlier(const SpotPair& spot) const {
    return spot.before ? &before.dents[*spot.before] : nullptr;
  }
  const Dent* later(const SpotPair& spot) const { return spot.after ? &after.dents[*spot.after] : nullptr; }
};

std::string place_of(const PointMm& where) {
  return "at x " + shown(where.x_mm, 0) + ", y " + shown(where.y_mm, 0) + " mm on the card";
}

/// How much of the depth went, 100 % = all. Only between two spots of one kind.
std::optional<Quantity> gone_percent(const Dent* before, const Dent* after) {
  if (before == nullptr || after == nullptr || before->kind != after->kind) return std::nullopt;
  if (!before->depth_mm || !after->depth_mm) return std::nullopt;
  const Quantity left = power_product(100, {{*after->depth_mm, 1}, {*before->depth_mm, -1}});
  return Quantity{100 - left.value, 100 - left.high, 100 - left.low};
}

Fact slope_fact(const MeasuredValue& slope) {
  return number_fact("steepest slope left", slope.quantity, "mrad",
                     slope.estimated ? "estimated" : "measured");
}

void set_stop(SpotNext& next, std::string action, std::string reason, Fact fact) {
  next.verdict = Verdict::stop;
  next.step.code = "stop";
  next.step.action = std::move(action);
  next.step.reason = std::move(reason);
  next.step.facts.push_back(std::move(fact));
}

/// What is left is below what the eye finds, or must not be worked on any more.
bool stops(const Context& context, const Dent& dent, const SeverityAssessment& severity, SpotNext& next) {
  const AdviceRules& rules = context.data.rules;
  if (context.facts.paint == Paint::damaged) {
    set_stop(next, "Stop: the paint is cracked or lifting.", "More work would break off more of it.",
             panel_fact("paint", context.facts.paint));
    return true;
  }
  const auto slope = value_of(Measure::max_slope_mrad, dent, context.facts, context.data.severity);
  if (slope && slope->quantity.value < rules.visible_slope_mrad.value) {
    const bool surely = slope->quantity.high < rules.visible_slope_mrad.value;
    set_stop(next,
             surely ? "Stop: what is left is below what the eye finds."
                    : "Stop, if your eye agrees: the interval still reaches what can be seen.",
             rules.visible_slope_mrad.reason, slope_fact(*slope));
    next.step.facts.push_back(number_fact("visible slope", rules.visible_slope_mrad.value, "mrad", "rule"));
    return true;
  }
  if (severity.beyond_pulling() && dent.kind == Kind::low) {
    set_stop(next, "Stop: what is left is probably beyond pulling.", severity.doubts.front().text,
             severity.doubts.front().value
                 ? number_fact(severity.doubts.front().about, *severity.doubts.front().value,
                               severity.doubts.front().unit, "measured")
                 : named_fact(severity.doubts.front().about, severity.doubts.front().text, "given"));
    return true;
  }
  return false;
}

void tap(const Context& context, const Spot& spot, std::size_t index, SpotNext& next) {
  const bool ring = holds_a_low(context.after, index);
  next.verdict = ring ? Verdict::level_ring : Verdict::tap_down;
  next.tip = choose_tip(spot, raised_width_mm(context.after, index), context.data.kit, context.data.rules);
  next.step = tap_step(spot, *next.tip, ring);
  next.step.points.insert(next.step.points.begin(), place_of(next.where));
}

bool same_choice(const TabChoice& a, const TabChoice& b) {
  if (a.tab.has_value() != b.tab.has_value()) return false;
  if (a.tab) return a.tab->name == b.tab->name && a.in_row == b.in_row;
  // without a kit: the face that served before still fits
  return a.shape == b.shape && a.max_width_mm <= b.max_width_mm;
}

/// The tab that the earlier plan chose, if there was a spot to choose for.
std::optional<TabChoice> earlier_tab(const Context& context, const Dent* before) {
  if (before == nullptr || before->kind != Kind::low) return std::nullopt;
  const SeverityAssessment severity = assess_severity(*before, context.facts, context.data.severity);
  return choose_tab(spot_of(*before, severity, context.facts, context.data.severity), context.data.kit,
                    context.data.rules);
}

/// After a pull that did next to nothing: what to change, likeliest cause first.
void say_what_to_change(const PullerChoice& puller, const TabChoice& tab, SpotNext& next) {
  auto& points = next.step.points;
  points.push_back("did the tab let go? Cut and wipe the spot again before anything else");
  points.push_back("did the glue stay on but the metal not move? Pull a little cooler");
  const TabMaterial used = tab.tab ? tab.tab->material : tab.material;
  if (used == TabMaterial::soft) points.push_back("or take a rigid tab: it pulls harder");
  if (!puller.alternatives.empty()) points.push_back("or another puller: " + puller.alternatives.front());
}

void pull_again(const Context& context, const Spot& spot, SpotNext& next) {
  const AdviceData& data = context.data;
  const Glue& glue = choose_glue(context.facts, data.kit, data.rules);
  next.verdict = Verdict::pull_again;
  next.tab = choose_tab(spot, data.kit, data.rules);
  next.puller = choose_puller(spot, *next.tab, data.kit, data.rules);
  next.pull_at = pull_temperature(glue, *next.tab, context.facts, data.rules);
  next.wait_s = estimated_wait(spot, glue, *next.pull_at, data.severity);
  const auto used = earlier_tab(context, context.earlier(next.spot));
  if (used) next.same_tab = same_choice(*used, *next.tab);

  const Step tab = tab_step(spot, *next.tab, data.rules);
  const Step glueing = glue_step(spot, *next.tab, glue, *next.pull_at, next.wait_s, data);
  const Step pull = pull_step(spot, *next.tab, *next.puller, data.rules);
  Step& step = next.step;
  step = pull;
  step.code = "pull_again";
  step.action = "Pull again" +
                std::string(!next.same_tab   ? ""
                            : *next.same_tab ? " with the same tab"
                                             : " with another tab") +
                ".";
  step.points = {place_of(next.where)};
  step.facts.clear();
  for (const Step* part : {&tab, &glueing, &pull}) {
    step.points.push_back(part->action);
    step.points.insert(step.points.end(), part->points.begin(), part->points.end());
    step.facts.insert(step.facts.end(), part->facts.begin(), part->facts.end());
  }
  if (!tab.missing.empty()) step.missing += (step.missing.empty() ? "" : "; ") + tab.missing;
}

void judge_the_gain(const Context& context, SpotNext& next) {
  const AdviceRules& rules = context.data.rules;
  const Dent* before = context.earlier(next.spot);
  if (before == nullptr) {
    next.step.reason = "A new low: an earlier pull or tap made it. Go gently.";
    return;
  }
  if (before->kind == Kind::high) {
    next.step.reason = "The high spot was tapped too far and is a low now. Pull gently.";
    return;
  }
  if (!next.gone_percent) {
    next.step.reason =
        "Something is left that the eye finds; how much went is not known without both depths.";
    return;
  }
  const Quantity& gone = *next.gone_percent;
  next.step.facts.push_back(number_fact("gone so far", gone, "%", "measured"));
  if (gone.value >= rules.good_gain_percent.value) {
    next.step.reason = "That pull worked. " + rules.good_gain_percent.reason;
    if (next.same_tab && !*next.same_tab) next.step.reason += " What is left wants another tab.";
  } else if (gone.value < rules.poor_gain_percent.value) {
    next.step.reason = "That pull did next to nothing. " + rules.poor_gain_percent.reason;
    say_what_to_change(*next.puller, *next.tab, next);
  } else {
    next.step.reason = "That pull did something, not much.";
    next.step.points.push_back("if the next one does no more, change the tab or the puller");
  }
}

bool lies_in_a_high(const Reading& reading, const Dent& dent) {
  if (!dent.inside_of || *dent.inside_of < 0) return false;
  const auto outer = static_cast<std::size_t>(*dent.inside_of);
  return outer < reading.dents.size() && reading.dents[outer].kind == Kind::high;
}

/// Deeper beyond doubt after a pull: more likely a slip in the photo than in the metal.
bool became_deeper(const SpotNext& next) { return next.gone_percent && next.gone_percent->high < 0; }

void photo_again(SpotNext& next) {
  next.verdict = Verdict::photo_again;
  next.step.code = "photo_again";
  next.step.action = "Photo again before you go on.";
  next.step.points = {place_of(next.where),
                      "same card place, board distance measured anew, same --board-pitch"};
  next.step.reason = "The later reading says that the spot became deeper, which a pull does not do.";
  next.step.facts = {number_fact("gone so far", *next.gone_percent, "%", "measured")};
}

SpotNext judge(const Context& context, const SpotPair& spot) {
  SpotNext next;
  next.spot = spot;
  const Dent *before = context.earlier(spot), *after = context.later(spot);
  if (after == nullptr) {
    next.where = {before->x_mm, before->y_mm};
    set_stop(next, "Stop: nothing is left to be found.", "The later reading shows no spot here.",
             number_fact("diameter before", before->diameter_mm, "mm", "measured"));
    return next;
  }
  next.where = {after->x_mm, after->y_mm};
  // of a little low on top of what came up nothing can be said to be gone
  const bool on_a_high = lies_in_a_high(context.after, *after);
  if (!on_a_high) next.gone_percent = gone_percent(before, after);
  const SeverityAssessment severity = assess_severity(*after, context.facts, context.data.severity);
  if (stops(context, *after, severity, next)) return next;
  const Spot later = spot_of(*after, severity, context.facts, context.data.severity);
  if (after->kind == Kind::high) {
    tap(context, later, *spot.after, next);
    if (before != nullptr && before->kind == Kind::low)
      next.step.reason = "The pull went too far: the low is a high spot now. " + next.step.reason;
    return next;
  }
  if (became_deeper(next)) {
    photo_again(next);
    return next;
  }
  pull_again(context, later, next);
  if (on_a_high) {
    next.step.reason = "The main part came up; this little low stayed behind on top of it.";
    next.step.points.insert(next.step.points.begin(), "only after the raised ring round it is level");
  } else {
    judge_the_gain(context, next);
  }
  return next;
}

bool overlaps(const Dent& a, const Dent& b, double share) {
  return std::hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm) <=
         share * std::max(a.diameter_mm.value, b.diameter_mm.value);
}

std::string summary_of(const NextStep& next) {
  if (next.spots.empty()) return "No spot in either reading: nothing to do.";
  switch (next.verdict) {
    case Verdict::photo_again:
      return "Photo again first.";
    case Verdict::level_ring:
      return "Level the raised ring first, then pull the little low.";
    case Verdict::pull_again:
      return "Pull again.";
    case Verdict::tap_down:
      return "Tap down what stands proud.";
    case Verdict::stop:
      return "Stop: done here.";
  }
  return "";
}

}  // namespace

std::vector<SpotPair> match_spots(const Reading& before, const Reading& after, const AdviceRules& rules) {
  std::vector<SpotPair> spots;
  std::vector<bool> used(before.dents.size(), false);
  const bool single = before.dents.size() == 1 && after.dents.size() == 1;
  for (std::size_t i = 0; i < after.dents.size(); ++i) {
    SpotPair spot{std::nullopt, i};
    double nearest_mm = 0;
    for (std::size_t j = 0; j < before.dents.size(); ++j) {
      const Dent &a = before.dents[j], &b = after.dents[i];
      const double distance_mm = std::hypot(a.x_mm - b.x_mm, a.y_mm - b.y_mm);
      if (used[j] || !(single || overlaps(a, b, rules.same_spot_share.value))) continue;
      if (spot.before && distance_mm >= nearest_mm) continue;
      spot.before = j;
      nearest_mm = distance_mm;
    }
    if (spot.before) used[*spot.before] = true;
    spots.push_back(spot);
  }
  // What was one spot can be a ring and a low now: both come from it.
  for (SpotPair& inner : spots) {
    const auto& outer_index = after.dents[*inner.after].inside_of;
    if (!outer_index || *outer_index < 0 || static_cast<std::size_t>(*outer_index) >= after.dents.size())
      continue;
    SpotPair& outer = spots[static_cast<std::size_t>(*outer_index)];
    if (!inner.before) inner.before = outer.before;
    if (!outer.before) outer.before = inner.before;
  }
  for (std::size_t j = 0; j < before.dents.size(); ++j)
    if (!used[j]) spots.push_back({j, std::nullopt});
  return spots;
}

NextStep next_step(const Reading& before, const Reading& after, const std::vector<SpotPair>& spots,
                   const PanelFacts& facts, const AdviceData& data) {
  facts.validate();
  NextStep result;
  result.before = before.photo.name;
  result.after = after.photo.name;
  if (before.status == Status::refused || after.status == Status::refused) {
    const Reading& refused = after.status == Status::refused ? after : before;
    result.summary = "Photo again: " + (refused.photo.name.empty() ? "one photo" : refused.photo.name) +
                     " was refused" + (refused.refusal ? ": " + refused.refusal->message : "");
    return result;
  }
  const Context context{before, after, facts, data};
  for (const SpotPair& spot : spots) result.spots.push_back(judge(context, spot));
  std::stable_sort(result.spots.begin(), result.spots.end(),
                   [](const SpotNext& a, const SpotNext& b) { return a.verdict < b.verdict; });
  result.verdict = result.spots.empty() ? Verdict::stop : result.spots.front().verdict;
  result.summary = summary_of(result);

  const bool any_match =
      std::any_of(spots.begin(), spots.end(), [](const SpotPair& spot) { return spot.before && spot.after; });
  if (!any_match && !before.dents.empty() && !after.dents.empty())
    result.warnings.push_back({"no_match",
                               "no spot of the earlier reading lies where one of the later does: was "
                               "the card moved? Put it back, or use `ripplegauge compare`"});
  if (before.dents.size() == 1 && after.dents.size() == 1 &&
      !overlaps(before.dents[0], after.dents[0], data.rules.same_spot_share.value))
    result.warnings.push_back({"card_moved",
                               "the spot lies elsewhere on the card now; taken for the same one, since "
                               "each reading has only one"});
  const auto is = [&](Verdict verdict) {
    return std::any_of(result.spots.begin(), result.spots.end(),
                       [&](const auto& s) { return s.verdict == verdict; });
  };
  const Glue& glue = choose_glue(facts, data.kit, data.rules);
  Work work;
  work.pulling = is(Verdict::pull_again);
  work.tapping = work.pulling || is(Verdict::tap_down) || is(Verdict::level_ring);
  work.cutting = work.pulling;
  work.glue_c = glue.gun_c;
  work.panel_c = glue.warm_panel_c;
  result.cautions = cautions_for(work, facts);
  return result;
}

NextStep next_step(const Reading& before, const Reading& after, const PanelFacts& facts,
                   const AdviceData& data) {
  return next_step(before, after, match_spots(before, after, data.rules), facts, data);
}

}  // namespace ripplegauge
