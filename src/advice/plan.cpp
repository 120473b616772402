// From a reading to the steps of the work: what comes once before it, spot by spot, and afterwards.
#include "advice/plan.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <tuple>
#include <vector>

#include "advice/cautions.hpp"
#include "core/line_axes.hpp"
#include "facts.hpp"
#include "spot_steps.hpp"

namespace ripplegauge {
namespace {

bool coated(Coating coating) { return coating != Coating::none; }

std::string about_metal(const PanelFacts& facts, const SheetMetal& metal) {
  const std::string sheet = facts.thickness_mm ? shown(*facts.thickness_mm, 2) + " mm"
                                               : shown(metal.thickness_mm.value, 2) + " mm assumed";
  if (facts.material == Material::unknown)
    return "metal: not sure. A magnet clings to steel, not to aluminium (" + sheet + ")";
  return "metal: " + spoken(facts.material) + ", " + sheet + "; a magnet " +
         (facts.material == Material::aluminium ? "must not cling" : "must cling");
}

std::string about_paint(Paint paint) {
  switch (paint) {
    case Paint::original:
      return "paint: original. No masking edge, no overspray, no odd colour?";
    case Paint::repainted:
      return "paint: repainted. It can lift";
    case Paint::damaged:
      return "paint: cracked or lifting. Do not pull on it";
    case Paint::unknown:
      break;
  }
  return "paint: not sure. Look for masking edges and overspray; treat it as repainted: it can lift";
}

std::string about_coating(Coating coating) {
  switch (coating) {
    case Coating::none:
      return "coating: none. Does a drop of water spread? If it beads, there is one";
    case Coating::wax_or_sealant:
      return "coating: wax or sealant. Glue slips on it";
    case Coating::ceramic:
      return "coating: ceramic. Glue does not hold on it";
    case Coating::unknown:
      break;
  }
  return "coating: not sure. If a drop of water beads, glue will not hold";
}

Step check_step(const PanelFacts& facts, const GlueChoice& glue, bool pulling, const AdviceData& data) {
  const SheetMetal& metal = data.severity.metal(facts.material);
  Step step;
  step.code = "check_first";
  step.action = "Check first:";
  step.points = {about_metal(facts, metal), about_paint(facts.paint)};
  if (pulling) step.points.push_back(about_coating(facts.coating));
  step.points.push_back(
      "earlier repair or filler: sanding marks, a weak spot under the magnet? Filler breaks out");
  step.points.push_back("lamp and board in place: you see the stripes bend in the spot from where you work");
  if (pulling)
    step.points.push_back(
        (glue.glue.cold ? std::string("cold glue at hand")
                        : "glue gun at " + shown(glue.glue.gun_c, 0) + " °C") +
        "; panel temperature" +
        (facts.panel_c ? ": " + shown(*facts.panel_c, 1) + " °C" : " read with the thermometer"));
  step.reason = "Each of these changes tab, force or waiting time, or whether to start at all.";
  step.facts = {panel_fact("metal", facts.material), panel_fact("paint", facts.paint)};
  if (pulling) {
    step.facts.push_back(panel_fact("coating", facts.coating));
    if (!glue.glue.cold)
      step.facts.push_back(number_fact("gun", glue.glue.gun_c, "°C", glue.of_kit ? "kit" : "rule"));
  }
  return step;
}

std::optional<Step> customer_step(const PanelFacts& facts, bool pulling) {
  Step step;
  step.code = "tell_customer";
  step.action = "Tell the customer before anything is pulled:";
  if (facts.paint != Paint::original) {
    step.points.push_back(facts.paint == Paint::unknown
                              ? "if the panel was ever repainted, the paint can lift with the tab"
                              : "repainted or broken paint can lift with the tab");
    step.facts.push_back(panel_fact("paint", facts.paint));
  }
  if (pulling && coated(facts.coating)) {
    step.points.push_back(facts.coating == Coating::unknown
                              ? "if there is a coating, it has to be renewed at this spot afterwards"
                              : "the coating at this spot has to be renewed afterwards");
    step.facts.push_back(panel_fact("coating", facts.coating));
  }
  if (step.points.empty()) return std::nullopt;
  step.reason = "Told afterwards, it is a complaint.";
  return step;
}

Step prepare_step(const PanelFacts& facts) {
  Step step;
  step.code = "prepare";
  step.facts = {panel_fact("coating", facts.coating)};
  if (coated(facts.coating)) {
    step.action = facts.coating == Coating::unknown ? "If water beads: cut the spot, then wipe it clean."
                                                    : "Cut the spot, then wipe it clean.";
    step.points.push_back(
        "fine cutting compound where the tab will stand, until a drop of water spreads instead of beading");
    step.points.push_back("no further than that: the paint below is what holds the tab");
    step.reason = "Glue holds on paint, not on what was put on it, nor on what the compound leaves.";
  } else {
    step.action = "Wipe the spot clean.";
    step.reason = "Glue holds only on clean paint.";
  }
  step.points.push_back("isopropyl alcohol and fresh cloths until the cloth stays clean");
  step.points.push_back("if a first pull lets go: do this step again");
  return step;
}

Step warm_tabs_step() {
  Step step;
  step.code = "warm_tabs";
  step.action = "Warm the tabs briefly with a flame or heat gun before the glue goes on.";
  step.reason = "It takes off mould release and slows the cooling.";
  step.facts = {named_fact("new tabs", "mould release on the face", "rule")};
  return step;
}

/// Paint that may not hold as factory paint does.
std::optional<Step> trial_step(const PanelFacts& facts) {
  if (facts.paint == Paint::original || facts.paint == Paint::damaged) return std::nullopt;
  Step step;
  step.code = "trial_pull";
  step.action = facts.paint == Paint::repainted
                    ? "Trial pull first, on the same paint where it does not show."
                    : "If it was ever repainted: trial pull first, where it does not show.";
  step.points = {"same tab, little glue, by hand; if paint comes with it, do not pull on this panel",
                 facts.access == Access::closed
                     ? "then say so to the customer: it is for the paint shop"
                     : "from behind is the safer way here, where the back can be reached"};
  step.reason = "Repainted layers hold as well as they were keyed, and nothing in the picture tells.";
  step.facts = {panel_fact("paint", facts.paint)};
  return step;
}

/// Cold makes paint brittle and metal damp.
std::optional<Step> cold_step(const PanelFacts& facts) {
  constexpr double brittle_below_c = 10;  // common practice, no published source
  const double coldest_c = std::min(facts.air_c.value_or(20), facts.panel_c.value_or(20));
  if (coldest_c >= brittle_below_c) return std::nullopt;
  Step step;
  step.code = "cold_paint";
  step.action = "Warm and dry the panel first: at " + shown(coldest_c, 0) +
                " °C the paint is brittle and the metal damp.";
  step.points = {"bring it to 15 °C or more, the whole panel and not only the spot, and wipe it dry",
                 "no pull, no tap before: cold paint cracks where warm paint bends"};
  step.reason = "Glue does not hold on damp paint, and cold paint chips.";
  step.facts = {number_fact("coldest of air and panel", coldest_c, "°C", "given")};
  return step;
}

Step release_step(const Glue& glue, bool of_kit) {
  Step step;
  step.code = "release";
  step.action = "After each pull: loosen the glue with isopropyl alcohol at its rim, lift it off, wipe.";
  step.reason = "Levering it off marks the paint. The vapour lights easily on a warm panel: no flame near.";
  step.facts = {
      number_fact("flash point", 11.7, "°C", "published"),
      number_fact("panel", glue.cold ? glue.pull.high_c : glue.warm_panel_c, "°C", of_kit ? "kit" : "rule")};
  return step;
}

Step measure_again_step(const Dent& dent) {
  Step step;
  step.code = "measure_again";
  step.action = "Photo again, card where it was; the two readings together say how to go on.";
  step.reason = "What is left decides: the same tab, another one, tapping down, or stop.";
  step.facts = {dent.depth_mm ? number_fact("depth before", *dent.depth_mm, "mm", "measured")
                              : number_fact("diameter before", dent.diameter_mm, "mm", "measured")};
  return step;
}

Step tap_raised_step(const Spot& spot, const AdviceData& data, double face_mm) {
  const TipChoice tip = choose_tip(spot, face_mm, data.kit, data.rules);
  Step step;
  step.code = "tap_raised";
  step.action = "If the pull left a high spot: tap it down, " + spoken(tip.hardness) +
                " tip as wide as the spot, " + spoken(tip.weight) + " hammer.";
  step.points = {"eye along the light's line, small taps", "stop while it is still slightly proud"};
  step.reason = tip.hardness_reason + " " + tip.weight_reason;
  step.facts = {panel_fact("paint", spot.facts.paint), panel_fact("metal", spot.facts.material),
                number_fact("sheet", spot.thickness_mm, "mm", spot.facts.thickness_mm ? "given" : "assumed")};
  return step;
}

Step stop_step(const AdviceRules& rules) {
  Step step;
  step.code = "stop";
  step.action = "Stop when the eye no longer finds it, or when going on risks the paint.";
  step.points = {"the stripes run straight through it; by the photo, what is left is no steeper than " +
                 shown(rules.visible_slope_mrad.value, 1) + " mm in a metre"};
  step.reason = rules.visible_slope_mrad.reason;
  step.facts = {number_fact("visible slope", rules.visible_slope_mrad.value, "mm in a metre", "rule")};
  return step;
}

/// The spot that the nest of this one starts with; itself when it lies in none. Bounded, whatever the data
/// says.
std::size_t outermost(const Reading& reading, std::size_t index) {
  const std::size_t count = reading.dents.size();
  for (std::size_t step = 0; step < count; ++step) {
    const auto& outer = reading.dents[index].inside_of;
    if (!outer || *outer < 0 || static_cast<std::size_t>(*outer) >= count) break;
    index = static_cast<std::size_t>(*outer);
  }
  return index;
}

bool nested(const Reading& reading, std::size_t index) {
  if (outermost(reading, index) != index) return true;
  for (std::size_t i = 0; i < reading.dents.size(); ++i)
    if (i != index && outermost(reading, i) == index) return true;
  return false;
}

enum Turn { in_a_nest, a_low, a_high, hopeless };

Turn turn_of(const Reading& reading, std::size_t index, const SeverityAssessment& severity) {
  if (severity.beyond_pulling()) return hopeless;
  if (nested(reading, index)) return in_a_nest;
  return reading.dents[index].kind == Kind::low ? a_low : a_high;
}

std::string reason_of(Turn turn, const Dent& dent) {
  switch (turn) {
    case in_a_nest:
      return dent.kind == Kind::high
                 ? "first, because tabs and feet need level metal: the raised part comes down before any pull"
                 : "after the raised part round or in it is level: small tabs work only on level metal";
    case a_low:
      return "larger lows before smaller ones: a large pull moves the metal round it";
    case a_high:
      return "after the lows: pulling can raise the metal again";
    case hopeless:
      break;
  }
  return "last, if at all: pulling will probably not do";
}

std::vector<std::size_t> order_of_work(const Reading& reading,
                                       const std::vector<SeverityAssessment>& severities) {
  std::vector<std::size_t> order(reading.dents.size());
  std::iota(order.begin(), order.end(), 0u);
  const auto key = [&](std::size_t i) {
    const Dent& dent = reading.dents[i];
    const Turn turn = turn_of(reading, i, severities[i]);
    const std::size_t nest = turn == in_a_nest ? outermost(reading, i) : 0;
    return std::tuple(turn, nest, turn == in_a_nest && dent.kind == Kind::low,
                      std::isfinite(dent.diameter_mm.value) ? -dent.diameter_mm.value : 0.0);
  };
  std::stable_sort(order.begin(), order.end(), [&](std::size_t a, std::size_t b) { return key(a) < key(b); });
  return order;
}

DentPlan plan_spot(const Reading& reading, std::size_t index, const SeverityAssessment& severity,
                   const PanelFacts& facts, const AdviceData& data) {
  DentPlan plan;
  plan.number = index + 1;
  plan.dent = reading.dents[index];
  plan.place = facts.place;
  plan.severity = severity;
  plan.coin = in_coins(data.coins, plan.dent.diameter_mm.value);
  if (severity.is_long && !plan.coin.empty()) plan.coin = "in area " + plan.coin;
  if (reading.dents.size() > 1) plan.order_reason = reason_of(turn_of(reading, index, severity), plan.dent);
  const Spot spot = spot_of(plan.dent, severity, facts, data.severity);
  if (severity.pulling != Pulling::promising) plan.steps.push_back(doubt_step(severity));
  if (facts.paint == Paint::damaged) return plan;  // neither glue nor hammer on broken paint
  if (plan.dent.kind == Kind::high) {
    plan.tip = choose_tip(spot, raised_width_mm(reading, index), data.kit, data.rules);
    plan.steps.push_back(tap_step(spot, *plan.tip, holds_a_low(reading, index)));
  } else {
    plan_pull(spot, reading, data, plan);
  }
  return plan;
}

/// Nobody reads the same glue instructions nine times.
void shorten_repeated_glue(const std::vector<DentPlan>& earlier, DentPlan& plan) {
  const auto same = std::find_if(earlier.begin(), earlier.end(), [&](const DentPlan& other) {
    return other.pull_at && plan.pull_at && other.pull_at->low_c == plan.pull_at->low_c &&
           other.pull_at->high_c == plan.pull_at->high_c;
  });
  if (same == earlier.end()) return;
  for (Step& step : plan.steps) {
    if (step.code != "glue") continue;
    step.action = "Glue and wait as for spot " + std::to_string(same->number) + ": pull at " +
                  shown(plan.pull_at->low_c, 1) + "–" + shown(plan.pull_at->high_c, 1) + " °C.";
    step.points.clear();
  }
}

bool on_body_line(const Dent& dent, const BodyLine& line) {
  constexpr double beside_mm = 5;  // metal that close moves with the line (common practice)
  const double half_mm = 0.5 * std::max(dent.length_mm.value, dent.diameter_mm.value);
  return LineAxes(line).off_mm(dent.x_mm, dent.y_mm) < half_mm + 0.5 * line.width_mm.value + beside_mm;
}

/// What is said of the panel, and at this dent what the photo shows: that it lies on a body line, or that a
/// lifter's outer foot has no metal to stand on.
PanelFacts facts_at(const Dent& dent, const Reading& reading, PanelFacts facts, const AdviceRules& rules) {
  if (facts.place != Place::unknown) return facts;
  const double feet_mm = 0.5 * dent.diameter_mm.high + rules.feet_clear_mm.value + lifter_foot_mm;
  const std::vector<BodyLine> lines = reading.setup.body_lines();
  if (std::any_of(lines.begin(), lines.end(), [&](const BodyLine& line) { return on_body_line(dent, line); }))
    facts.place = Place::body_line;
  else if (dent.panel_end_mm && dent.panel_end_mm->low < feet_mm)
    facts.place = Place::edge;
  return facts;
}

std::vector<Question> questions_for(const Reading& reading, const PanelFacts& facts, bool pulling,
                                    const std::vector<SeverityAssessment>& severities,
                                    const AdviceRules& rules) {
  std::vector<Question> list;
  const auto ask = [&list](const char* code, const char* text) { list.push_back({code, text}); };
  if (facts.material == Material::unknown)
    ask("material", "Which metal? A magnet tells steel. It sets tab, hammer and severity.");
  if (facts.paint == Paint::unknown)
    ask("paint", "Original or repainted paint? It decides whether to warn the customer.");
  if (pulling && facts.coating == Coating::unknown)
    ask("coating", "Is there a wax, sealant or ceramic coating? Glue may not hold.");
  const bool place_known = std::all_of(reading.dents.begin(), reading.dents.end(), [&](const Dent& dent) {
    return facts_at(dent, reading, facts, rules).place != Place::unknown;
  });
  if (pulling && !place_known)
    ask("place", "Open panel, on a body line, near an edge, over a brace? It chooses the puller.");
  if (pulling && facts.access == Access::unknown)
    ask("access", "Can the back be reached? Then pushing is another way.");
  if (pulling && !facts.air_c) ask("air", "How warm is the air? It sets glue and waiting time.");
  if (pulling && !facts.panel_c)
    ask("panel", "How warm is the panel? A hot one must cool before the glue goes on.");
  const bool narrower =
      std::any_of(severities.begin(), severities.end(), [](const auto& s) { return s.straddles; });
  if (narrower && !facts.thickness_mm)
    ask("thickness", "How thick is the sheet? The severity stands between two grades.");
  if (std::any_of(reading.dents.begin(), reading.dents.end(), [](const Dent& d) { return !d.depth_mm; }))
    ask("depth", "How deep is it? The photo could not tell; measure the board's distance and shoot again.");
  return list;
}

Plan without_steps(Plan plan, const Reading& reading) {
  if (reading.status == Status::refused) {
    plan.nothing_to_do = "The photo was refused";
    if (reading.refusal)
      plan.nothing_to_do += ": " + reading.refusal->message + ". " + reading.refusal->remedy;
  } else {
    plan.nothing_to_do = "No dent was found: nothing to pull, nothing to tap.";
  }
  return plan;
}

}  // namespace

Spot spot_of(const Dent& dent, const SeverityAssessment& severity, const PanelFacts& facts,
             const SeverityRules& rules) {
  return {dent, severity, facts, facts.thickness_mm.value_or(rules.metal(facts.material).thickness_mm.value)};
}

Plan make_plan(const Reading& reading, const PanelFacts& facts, const AdviceData& data) {
  facts.validate();
  Plan plan;
  plan.photo = reading.photo.name;
  plan.kit = data.kit.name;
  plan.status = reading.status;
  plan.facts = facts;
  if (reading.status == Status::refused || reading.dents.empty())
    return without_steps(std::move(plan), reading);

  std::vector<SeverityAssessment> severities;
  for (const Dent& dent : reading.dents)
    severities.push_back(assess_severity(dent, facts_at(dent, reading, facts, data.rules), data.severity));
  for (const std::size_t index : order_of_work(reading, severities)) {
    const PanelFacts here = facts_at(reading.dents[index], reading, facts, data.rules);
    DentPlan dent = plan_spot(reading, index, severities[index], here, data);
    shorten_repeated_glue(plan.dents, dent);
    plan.dents.push_back(std::move(dent));
  }

  const auto first_pull = std::find_if(plan.dents.begin(), plan.dents.end(),
                                       [](const DentPlan& dent) { return dent.tab.has_value(); });
  const bool pulling = first_pull != plan.dents.end();
  const bool tapping = std::any_of(plan.dents.begin(), plan.dents.end(),
                                   [](const DentPlan& dent) { return dent.tip.has_value(); });
  const GlueChoice glue = choose_glue(facts, data.kit, data.rules);
  plan.before.push_back(check_step(facts, glue, pulling, data));
  if (const auto step = customer_step(facts, pulling)) plan.before.push_back(*step);
  if (const auto step = cold_step(facts); step && (pulling || tapping)) plan.before.push_back(*step);
  if (pulling) {
    plan.glue = glue;
    if (const auto step = trial_step(facts)) plan.before.push_back(*step);
    plan.before.push_back(prepare_step(facts));
    if (!glue.glue.cold) plan.before.push_back(warm_tabs_step());
    plan.after.push_back(release_step(glue.glue, glue.of_kit));
    plan.after.push_back(measure_again_step(first_pull->dent));
    const Spot spot = spot_of(first_pull->dent, first_pull->severity, facts, data.severity);
    const TabChoice& tab = *first_pull->tab;
    plan.after.push_back(tap_raised_step(spot, data, tab.tab ? tab.tab->width_mm : tab.max_width_mm));
  }
  if (tapping && !pulling) plan.after.push_back(measure_again_step(plan.dents.front().dent));
  if (pulling || tapping) plan.after.push_back(stop_step(data.rules));
  plan.questions = questions_for(reading, facts, pulling, severities, data.rules);
  plan.cautions = cautions_for({pulling, pulling || tapping, pulling && coated(facts.coating),
                                glue.glue.gun_c, glue.glue.warm_panel_c, !glue.glue.cold},
                               facts);
  return plan;
}

}  // namespace ripplegauge
