// What two readings of one place say about the next move. Which spot is which, and what is gone, is compare's
// to say.
#include "advice/next.hpp"

#include <algorithm>
#include <cmath>

#include "advice/cautions.hpp"
#include "compare/words.hpp"
#include "core/visible_dent.hpp"
#include "facts.hpp"
#include "spot_steps.hpp"
#include "words/text.hpp"

namespace ripplegauge {
namespace {

struct Context {
  const Reading &before, &after;
  const Comparison& comparison;
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

Fact slope_fact(const MeasuredValue& slope) {
  return number_fact("steepest slope left", slope.quantity, "mm in a metre",
                     slope.estimated ? "estimated" : "measured");
}

Fact slope_limit_fact(const AdviceRules& rules) {
  return number_fact("visible slope", rules.visible_slope_mrad.value, "mm in a metre", "rule");
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
  // on both sides of the limit the same words: a reading that comes out a little steeper turns nothing round
  if (slope && slope->quantity.low < rules.visible_slope_mrad.value) {
    const bool surely = slope->quantity.high < rules.visible_slope_mrad.value;
    set_stop(next,
             surely ? "Stop: what is left is below what the eye finds."
                    : "Stop, if your eye agrees: what is left is at the limit of what can be seen.",
             rules.visible_slope_mrad.reason, slope_fact(*slope));
    next.step.facts.push_back(slope_limit_fact(rules));
    next.done = true;
    next.eye_decides = !surely;
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
  const GlueChoice glue = choose_glue(context.facts, data.kit, data.rules);
  const TabChoice choice = choose_tab(spot, data.kit, data.rules);
  if (choice.none_fits) {
    next.verdict = Verdict::stop;
    next.step = no_tab_step(spot, choice);
    return;
  }
  next.verdict = Verdict::pull_again;
  next.tab = choice;
  next.puller = choose_puller(spot, *next.tab, data.kit, data.rules);
  next.pull_at = glue.glue.pull;
  next.wait_s = estimated_wait(spot, glue.glue, data.severity);
  const auto used = earlier_tab(context, context.earlier(next.spot));
  if (used) next.same_tab = same_choice(*used, *next.tab);

  next.details = {tab_step(spot, *next.tab, data.rules), glue_step(spot, *next.tab, glue, next.wait_s, data),
                  pull_step(spot, *next.tab, *next.puller, data)};
  Step& step = next.step;
  step.code = "pull_again";
  step.action = "Pull again" +
                std::string(!next.same_tab   ? ""
                            : *next.same_tab ? " with the same tab"
                                             : " with another tab") +
                ".";
  step.points = {place_of(next.where)};
  for (const Step& part : next.details) {
    step.points.push_back(part.action);
    step.facts.insert(step.facts.end(), part.facts.begin(), part.facts.end());
    if (!part.missing.empty()) step.missing += (step.missing.empty() ? "" : "; ") + part.missing;
  }
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
  const std::string condition =
      context.comparison.place.same == SamePlace::likely ? "If this is the same place: " : "";
  if (gone.value >= rules.good_gain_percent.value) {
    next.step.reason = condition + "That pull worked. " + rules.good_gain_percent.reason;
    if (next.same_tab && !*next.same_tab) next.step.reason += " What is left wants another tab.";
  } else if (gone.value < rules.poor_gain_percent.value) {
    next.step.reason = condition + "That pull did next to nothing. " + rules.poor_gain_percent.reason;
    say_what_to_change(*next.puller, *next.tab, next);
  } else {
    next.step.reason = condition + "That pull did something, not much.";
    next.step.points.push_back("if the next one does no more, change the tab or the puller");
  }
}

bool lies_in_a_high(const Reading& reading, const Dent& dent) {
  if (!dent.inside_of || *dent.inside_of < 0) return false;
  const auto outer = static_cast<std::size_t>(*dent.inside_of);
  return outer < reading.dents.size() && reading.dents[outer].kind == Kind::high;
}

void photo_again(std::string code, std::string action, std::string reason, Fact fact, SpotNext& next) {
  next.verdict = Verdict::photo_again;
  next.step.code = std::move(code);
  next.step.action = std::move(action);
  next.step.reason = std::move(reason);
  next.step.facts = {std::move(fact)};
}

Fact depth_fact(const char* name, const Dent& dent) {
  return dent.depth_mm ? number_fact(name, *dent.depth_mm, "mm", "measured")
                       : number_fact("diameter", dent.diameter_mm, "mm", "measured");
}

/// Whether a rest that the photo would miss is one that the eye misses, too, or nearly so.
bool shows_what_the_eye_finds(const SpotChange& change, const AdviceRules& rules) {
  constexpr double nearly = 2;
  return change.nothing_above &&
         steepest_mrad(*change.nothing_above) <= nearly * rules.visible_slope_mrad.value;
}

/// Nothing was found where the spot was.
SpotNext judge_empty(const Context& context, const SpotChange& change) {
  SpotNext next;
  next.spot.before = static_cast<std::size_t>(change.before);
  const Dent& before = *context.earlier(next.spot);
  next.where = {before.x_mm, before.y_mm};
  const std::string note = change.notes.empty() ? "" : change.notes.front();
  if (change.outcome != Outcome::gone) {
    photo_again("not_shown", "Not shown by this photo: photo again.", note + ".",
                depth_fact("depth before", before), next);
    return next;
  }
  const PlaceEvidence& place = context.comparison.place;
  const bool proven = place.same == SamePlace::proven;
  next.done = true;
  next.eye_decides = !shows_what_the_eye_finds(change, context.data.rules);
  set_stop(next,
           !proven            ? "Done here, if the card was not moved and this is the same panel."
           : next.eye_decides ? "Stop here, if your eye agrees: it may find less than this photo shows."
                              : "Stop here: done.",
           std::string(proven ? "Same place: " : "Not proven: ") + place.reason + ".",
           depth_fact("depth before", before));
  next.step.points = {rest_words(change, before.kind),
                      "look once more from two sides, in the stripes and in daylight"};
  if (proven) return next;
  next.verdict = Verdict::done_if_same_place;
  next.step.code = "done_if_same_place";
  next.step.points.push_back("if you know that the card was not moved, say so");
  return next;
}

/// By the photos alone nothing can be said of the next move.
bool calls_for_another_photo(const SpotChange& change, const Dent& after, SpotNext& next) {
  if (change.outcome != Outcome::unclear && !(change.outcome == Outcome::worse && change.sure)) return false;
  if (change.notes.empty() || !change.swapped) return false;
  photo_again("photo_again", "Photo again before you go on.", capitalised(change.notes.back()) + ".",
              depth_fact("depth now", after), next);
  return true;
}

/// A little low on top of what came up changes as soon as the ring is level.
void wait_for_the_ring(SpotNext& next) {
  if (!next.tab) {
    next.step.action = "Leave the little low on top until the ring round it is level, then measure it.";
    next.step.points = {place_of(next.where)};
  } else {
    next.step.points.insert(next.step.points.begin(), "only after the raised ring round it is level");
  }
  next.step.reason = "The main part came up; this little low stayed behind on top of it.";
}

/// Something stands there, in the place of an earlier spot or where none stood.
SpotNext judge(const Context& context, const SpotPair& spot, const SpotChange* change) {
  SpotNext next;
  next.spot = spot;
  const Dent *before = context.earlier(spot), *after = context.later(spot);
  next.where = {after->x_mm, after->y_mm};
  // of a little low on top of what came up nothing can be said to be gone
  const bool on_a_high = lies_in_a_high(context.after, *after);
  const bool is_the_rest = change != nullptr && !on_a_high && before->kind == after->kind &&
                           spot.after == static_cast<std::size_t>(change->after.front());
  if (is_the_rest) next.gone_percent = change->percent_gone;
  const SeverityAssessment severity = assess_severity(*after, context.facts, context.data.severity);
  if (stops(context, *after, severity, next)) return next;
  if (change != nullptr && calls_for_another_photo(*change, *after, next)) return next;
  const Spot later = spot_of(*after, severity, context.facts, context.data.severity);
  if (after->kind == Kind::high) {
    tap(context, later, *spot.after, next);
    if (before != nullptr && before->kind == Kind::low)
      next.step.reason = "The pull went too far: the low is a high spot now. " + next.step.reason;
    return next;
  }
  pull_again(context, later, next);
  if (on_a_high)
    wait_for_the_ring(next);
  else if (next.tab)
    judge_the_gain(context, next);
  return next;
}

std::string summary_of(const NextStep& next) {
  const auto every = [&](auto is) { return std::all_of(next.spots.begin(), next.spots.end(), is); };
  if (next.spots.empty()) return "No spot in either reading: nothing to do.";
  switch (next.verdict) {
    case Verdict::photo_again:
      return "Photo again first.";
    case Verdict::level_ring:
      return "Level the raised ring first, then photo again.";
    case Verdict::pull_again:
      return "Pull again.";
    case Verdict::tap_down:
      return "Tap down what stands proud.";
    case Verdict::done_if_same_place:
      return "Gone, if this is the same place: nothing is left that the photo would show.";
    case Verdict::stop:
      if (!every([](const SpotNext& spot) { return spot.done; }))
        return "Stop here: more work would not help. See why at each spot.";
      return every([](const SpotNext& spot) { return !spot.eye_decides; }) ? "Stop: done here."
                                                                           : "Stop, if your eye agrees.";
  }
  return "";
}

std::vector<SpotNext> judge_all(const Context& context) {
  std::vector<SpotNext> spots;
  const auto position = [](int index) { return static_cast<std::size_t>(index); };
  for (const SpotChange& change : context.comparison.spots) {
    if (change.after.empty()) spots.push_back(judge_empty(context, change));
    for (const int after : change.after)
      spots.push_back(judge(context, {position(change.before), position(after)}, &change));
  }
  for (const NewMark& mark : context.comparison.new_marks) {
    spots.push_back(judge(context, {std::nullopt, position(mark.after)}, nullptr));
    if (!mark.place_was_seen)
      spots.back().step.reason =
          "It stands where the photo before would not have shown it: it may be an old one. " +
          spots.back().step.reason;
  }
  std::stable_sort(spots.begin(), spots.end(),
                   [](const SpotNext& a, const SpotNext& b) { return a.verdict < b.verdict; });
  return spots;
}

std::vector<Caution> cautions_of(const NextStep& next, const PanelFacts& facts, const AdviceData& data) {
  const auto is = [&](Verdict verdict) {
    return std::any_of(next.spots.begin(), next.spots.end(),
                       [&](const SpotNext& spot) { return spot.verdict == verdict; });
  };
  const Glue glue = choose_glue(facts, data.kit, data.rules).glue;
  Work work;
  work.pulling = is(Verdict::pull_again);
  work.tapping = work.pulling || is(Verdict::tap_down) || is(Verdict::level_ring);
  work.cutting = work.pulling;
  work.glue_c = glue.gun_c;
  work.panel_c = glue.warm_panel_c;
  work.heat = !glue.cold;
  return cautions_for(work, facts);
}

NextStep named(const Reading& before, const Reading& after) {
  NextStep next;
  next.before = before.photo.name;
  next.after = after.photo.name;
  return next;
}

}  // namespace

NextStep next_step(const Reading& before, const Reading& after, const Comparison& comparison,
                   const PanelFacts& facts, const AdviceData& data) {
  facts.validate();
  NextStep result = named(before, after);
  result.place = comparison.place;
  const Context context{before, after, comparison, facts, data};
  if (result.summary = pair_words(comparison.place); !result.summary.empty()) return result;
  result.spots = judge_all(context);
  result.verdict = result.spots.empty() ? Verdict::stop : result.spots.front().verdict;
  result.summary = summary_of(result);
  if (result.spots.empty()) return result;
  result.cautions = cautions_of(result, facts, data);
  return result;
}

NextStep next_step(const Reading& before, const Reading& after, const PanelFacts& facts,
                   const AdviceData& data, const CompareOptions& options) {
  if (before.status != Status::refused && after.status != Status::refused)
    return next_step(before, after, compare_readings(before, {}, after, {}, options), facts, data);
  NextStep result = named(before, after);
  const Reading& refused = after.status == Status::refused ? after : before;
  result.summary = "Photo again: " + (refused.photo.name.empty() ? "one photo" : refused.photo.name) +
                   " was refused" + (refused.refusal ? ": " + refused.refusal->message : "");
  return result;
}

}  // namespace ripplegauge
