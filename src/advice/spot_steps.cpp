// The steps for one spot: tab, glue, pull or tap, each with its reason and what it rests on.
#include "spot_steps.hpp"

#include <algorithm>
#include <cmath>

#include "core/crease.hpp"
#include "core/no_dent_words.hpp"
#include "facts.hpp"

namespace ripplegauge {
namespace {

std::string face_of(TabShape shape, double length_mm, double width_mm) {
  const std::string across = shown(width_mm, 1) + " mm";
  return shape == TabShape::round ? across : shown(length_mm, 1) + " × " + across;
}

TabMaterial material_of(const TabChoice& choice) {
  return choice.tab ? choice.tab->material : choice.material;
}
TabShape shape_of(const TabChoice& choice) { return choice.tab ? choice.tab->shape : choice.shape; }

std::string along_the_crease(const Dent& dent) {
  return "along the crease, " + shown(dent.angle_deg, 0) + "° from the card's long arm";
}

bool is_lifter(PullerKind kind) {
  return kind == PullerKind::narrow_lifter || kind == PullerKind::wide_lifter;
}

Fact diameter_fact(const Dent& dent) { return number_fact("diameter", dent.diameter_mm, "mm", "measured"); }

std::string seconds(const Quantity& q) {
  // an estimate within a factor: five-second steps
  const auto rounded = [](double s) { return shown(5 * std::round(s / 5), 0); };
  return rounded(q.value) + " s (" + rounded(q.low) + "–" + rounded(q.high) + ")";
}

bool careful_paint(Paint paint) { return paint == Paint::repainted || paint == Paint::unknown; }

void say_the_weather(const Spot& spot, const Glue& glue, const std::optional<Quantity>& wait_s, Step& step) {
  const PanelFacts& facts = spot.facts;
  const std::string window = shown(glue.pull.low_c, 1) + "–" + shown(glue.pull.high_c, 1) + " °C";
  if (wait_s) {
    step.points.push_back("expect about " + seconds(*wait_s) +
                          " of waiting; two thermometer readings tell when the panel is at " + window);
    Fact wait = number_fact("waiting time", *wait_s, "s", "estimated");
    wait.value = seconds(*wait_s);
    step.facts.push_back(wait);
  } else if (facts.air_c) {
    step.points.push_back("the air is too warm for the panel to cool to " + shown(glue.pull.high_c, 1) +
                          " °C by itself: find shade or cool it with a damp cloth");
  } else {
    step.points.push_back("time it: two thermometer readings tell when the panel is at " + window);
  }
  if (facts.air_c) step.facts.push_back(number_fact("air", *facts.air_c, "°C", "given"));
  if (facts.panel_c) step.facts.push_back(number_fact("panel", *facts.panel_c, "°C", "given"));
}

/// Without a kit as for a face that works a crease in three places.
std::vector<PointMm> places_for(const Dent& dent, const TabChoice& tab) {
  const double face_mm = tab.tab ? tab.tab->length_mm : std::min(tab.max_length_mm, dent.length_mm.value / 3);
  return pull_places(dent, face_mm, tab.in_row);
}

/// Spots that a lifter's feet may come to stand on: a hammer has none.
void say_where_not_to_stand(const Reading& reading, std::size_t index, const PullerChoice& choice,
                            Step& step) {
  if (!is_lifter(choice.kind)) return;
  const Dent& dent = reading.dents[index];
  const double free_mm = choice.puller ? choice.puller->free_width_mm.value_or(0) : 0,
               inner_mm = 0.5 * std::max(free_mm, dent.diameter_mm.high),
               outer_mm = inner_mm + lifter_foot_mm;
  if (dent.panel_end_mm && dent.panel_end_mm->low < outer_mm) {
    step.points.push_back("no foot on that side: the panel ends or is covered " +
                          shown(dent.panel_end_mm->value, 0) + " mm from the spot's middle");
    step.facts.push_back(number_fact("to the panel's end", *dent.panel_end_mm, "mm", "measured"));
  }
  for (std::size_t i = 0; i < reading.dents.size(); ++i) {
    const Dent& other = reading.dents[i];
    if (i == index || other.inside_of == static_cast<int>(index) || dent.inside_of == static_cast<int>(i))
      continue;
    const double apart_mm = std::hypot(other.x_mm - dent.x_mm, other.y_mm - dent.y_mm),
                 half_mm = 0.5 * other.diameter_mm.high;
    if (apart_mm - half_mm >= outer_mm || apart_mm + half_mm <= inner_mm) continue;
    const double gap_mm = std::max(0.0, apart_mm - half_mm - 0.5 * dent.diameter_mm.high);
    step.points.push_back("keep the feet off spot " + std::to_string(i + 1) + ", " + shown(gap_mm, 0) +
                          " mm from this one's edge");
    step.facts.push_back(number_fact("gap to spot " + std::to_string(i + 1), gap_mm, "mm", "measured"));
  }
}

}  // namespace

Step tab_step(const Spot& spot, const TabChoice& choice, const AdviceRules& rules) {
  const Dent& dent = spot.dent;
  Step step;
  step.code = "choose_tab";
  step.action = "Tab: " + tab_words(choice) + ".";
  if (choice.in_row > 1)
    step.points.push_back(std::to_string(choice.in_row) + " of them in a row " + along_the_crease(dent));
  else if (choice.shape == TabShape::long_shape)
    step.points.push_back("set it " + along_the_crease(dent));
  if (choice.preparation_decides) step.points.push_back(rules.preparation_decides_mm.reason);
  if (is_small(choice, rules)) step.points.push_back("only where the metal round the dent is level");
  const bool width_limits = dent.width_mm.low <= dent.diameter_mm.low;
  step.reason = rules.face_share.reason + " " + choice.material_reason;
  if (choice.tab && choice.tab->material != choice.material)
    step.reason += " The largest of the kit that fits is " + spoken(choice.tab->material) + ".";
  step.facts = {
      number_fact(width_limits ? "width at least" : "diameter at least",
                  std::min(dent.width_mm.low, dent.diameter_mm.low), "mm", "measured"),
      number_fact("share", 100 * choice.max_width_mm / std::min(dent.width_mm.low, dent.diameter_mm.low), "%",
                  "rule"),
      number_fact("face at most", choice.max_width_mm, "mm", "rule")};
  if (choice.shape == TabShape::long_shape)
    step.facts.push_back(number_fact("length over width", spot.severity.length_over_width, "", "measured"));
  step.alternatives = choice.alternatives;
  if (spot.facts.access == Access::reachable)
    step.alternatives.push_back("the back can be reached: pushing from behind needs no glue");
  step.missing = choice.missing;
  return step;
}

std::string panel_words(const Glue& glue, const PanelFacts& facts) {
  const std::string to = shown(glue.warm_panel_c, 0) + " °C";
  if (!facts.panel_c || *facts.panel_c <= glue.warm_panel_c) return "panel warmed to " + to;
  return "panel let cool from " + shown(*facts.panel_c, 0) + " to " + to;
}

Step glue_step(const Spot& spot, const TabChoice& tab, const GlueChoice& choice,
               const std::optional<Quantity>& wait_s, const AdviceData& data) {
  const Glue& glue = choice.glue;
  const std::string source = choice.of_kit ? "kit" : "rule";
  const std::string window = shown(glue.pull.low_c, 1) + "–" + shown(glue.pull.high_c, 1) + " °C";
  Step step;
  step.code = "glue";
  if (glue.cold)
    step.action = "Glue: " + glue.name + ", cold: press the tab on for " + shown(glue.press_s, 0) +
                  " s, then pull; panel at " + window + ", no gun, no heat.";
  else
    step.action = "Glue: gun at " + shown(glue.gun_c, 0) + " °C, " + panel_words(glue, spot.facts) +
                  "; wait until the panel is at " + window + ".";
  if (!choice.not_now.empty()) step.points.push_back(choice.not_now);
  if (choice.of_kit && !glue.cold) step.points.push_back("glue: " + glue.name);
  if (careful_paint(spot.facts.paint))
    step.points.push_back(
        "half the glue that sound factory paint would get: it must let go before the paint does");
  step.reason = choice.of_kit ? "As the kit's file has it for this glue." : data.rules.glue_reason;
  step.facts = {range_fact("pull", glue.pull.low_c, glue.pull.high_c, "°C", source)};
  step.alternatives = choice.alternatives;
  if (!choice.not_now.empty()) step.missing = "a glue for this air";
  if (glue.cold) {
    step.facts.push_back(number_fact("press", glue.press_s, "s", source));
    return step;
  }
  step.facts.push_back(number_fact("gun", glue.gun_c, "°C", source));
  step.facts.push_back(number_fact("panel", glue.warm_panel_c, "°C", source));
  if (material_of(tab) == TabMaterial::rigid)
    step.points.push_back("a rigid tab cools quickly: puller in hand before the glue goes on");
  step.points.push_back(is_small(tab, data.rules)
                            ? "little tab, little glue; press, but do not squeeze it all out"
                            : "cover the face; press, but do not squeeze it all out");
  step.points.push_back(
      "a thin tab, wind and frost shorten the time, sun lengthens it; the temperature counts");
  if (spot.facts.material == Material::aluminium)
    step.points.push_back("aluminium carries the heat away quickly: warm a wider patch, expect another time");
  say_the_weather(spot, glue, wait_s, step);
  return step;
}

Step pull_step(const Spot& spot, const TabChoice& tab, const PullerChoice& choice, const AdviceData& data) {
  Step step;
  step.code = "pull";
  step.action = "Pull: " + puller_words(choice) + ".";
  if (is_lifter(choice.puller ? choice.puller->kind : choice.kind))
    step.points.push_back("both feet on level metal, padded, at least " + shown(choice.feet_apart_mm, 0) +
                          " mm apart, and on the panel");
  step.points.push_back(material_of(tab) == TabMaterial::rigid
                            ? "square to the panel, little by little: a rigid tab snaps when pulled askew"
                            : "square to the panel, little by little, eye on the stripes");
  if (const auto& line = spot.dent.flattened_line)
    step.points.push_back("the body line is " + flattened_words(*line, spot.dent.kind));
  // Common practice, no published source: the folded line is stiffer than the sheet beside it and holds that
  // in its place.
  if (spot.facts.place == Place::body_line) {
    step.points.push_back("line first, then its flanks: tabs along the line, ends before the middle");
    step.points.push_back("stop while the line is still a little low: pulled over, it is hard to take back");
  }
  step.points.push_back("the first pull is a gentle one; then look, and add. Expect about " +
                        expected_pulls(spot, data) + " pulls");
  if (spot.severity.is_long && places_for(spot.dent, tab).size() > 1)
    step.points.push_back(
        "ends first, then towards the middle: the ends hold the crease shut, and each that "
        "is freed lets the next part come up more easily");
  if (careful_paint(spot.facts.paint))
    step.points.push_back("smaller steps than on factory paint; stop at the first crackle");
  if (const double rim_mm = rim_height_mm(spot.dent); rim_mm > 0)
    step.points.push_back("metal stands " + shown(rim_mm, 2) +
                          " mm proud round it: ease it with light taps while the tab holds the pull");
  step.reason = choice.reason;
  step.facts.push_back(diameter_fact(spot.dent));
  if (spot.dent.depth_mm) step.facts.push_back(number_fact("depth", *spot.dent.depth_mm, "mm", "measured"));
  step.facts.push_back(panel_fact("place", spot.facts.place));
  step.facts.push_back(panel_fact("metal", spot.facts.material));
  step.alternatives = choice.alternatives;
  step.missing = choice.missing;
  return step;
}

Step no_tab_step(const Spot& spot, const TabChoice& choice) {
  Step step;
  step.code = "no_tab_fits";
  step.action = spot.facts.access == Access::reachable ? "No tab fits: push it out from behind."
                                                       : "No tab fits: leave it, or push it out from behind.";
  step.points = {choice.missing, "from behind: a fine tip, light pressure, eye on the stripes",
                 "else show it to the customer: so small a mark is seldom seen"};
  step.reason = "A face that covers the dent's edge lifts the level metal round it, too.";
  step.facts = {number_fact("width at least", std::min(spot.dent.width_mm.low, spot.dent.diameter_mm.low),
                            "mm", "measured"),
                number_fact("face at most", choice.max_width_mm, "mm", "rule")};
  return step;
}

Step tap_step(const Spot& spot, const TipChoice& choice, bool ring_round_a_low) {
  Step step;
  step.code = ring_round_a_low ? "level_ring" : "tap_down";
  step.action =
      (ring_round_a_low ? "Level the raised ring first: " : "Tap it down: ") + tip_words(choice) + ".";
  if (ring_round_a_low) step.points.push_back("tap round the low, not in it");
  step.points.push_back("eye along the light's line, small taps, from the rim inwards");
  step.points.push_back("stop while it is still slightly proud rather than make a low");
  if (ring_round_a_low)
    step.points.push_back("then photo again: the little low has changed, measure it before you pull it");
  step.reason = ring_round_a_low ? "A low on top of a raised area means that the main part came up."
                                 : "A high spot is never pulled.";
  step.reason += " " + choice.hardness_reason + " " + choice.weight_reason;
  step.facts = {number_fact(ring_round_a_low ? "width of the ring" : "width of the high spot",
                            choice.width_mm, "mm", "measured")};
  if (spot.dent.depth_mm) step.facts.push_back(number_fact("height", *spot.dent.depth_mm, "mm", "measured"));
  step.facts.push_back(panel_fact("paint", spot.facts.paint));
  step.facts.push_back(
      number_fact("sheet", spot.thickness_mm, "mm", spot.facts.thickness_mm ? "given" : "assumed"));
  step.missing = choice.missing;
  return step;
}

Step doubt_step(const SeverityAssessment& severity) {
  Step step;
  const bool beyond = severity.beyond_pulling();
  step.code = beyond ? "beyond_pulling" : "doubtful";
  step.action = beyond ? "Pulling alone will probably not do. Show the customer; do not promise."
                       : "Pulling may not do here. Say so before you start.";
  step.reason = beyond ? "What pulling cannot put right stays in sight, and trying can cost the paint."
                       : "A part of it may stay in sight.";
  for (const Doubt& doubt : severity.doubts) {
    step.points.push_back(doubt.text);
    step.facts.push_back(doubt.value ? number_fact(doubt.about, *doubt.value, doubt.unit,
                                                   doubt.estimated ? "estimated" : "measured")
                                     : named_fact(doubt.about, doubt.text, "given"));
  }
  return step;
}

std::optional<Quantity> estimated_wait(const Spot& spot, const Glue& glue, const SeverityRules& rules) {
  if (glue.cold || !spot.facts.air_c || *spot.facts.air_c >= glue.pull.high_c) return std::nullopt;
  return estimated_seconds(rules.metal(spot.facts.material), spot.facts.thickness_mm, *spot.facts.air_c,
                           glue.warm_panel_c, glue.pull.high_c);
}

std::string tab_words(const TabChoice& choice) {
  const std::string kind = spoken(shape_of(choice)) + ", " + spoken(material_of(choice)) + ", face ";
  if (choice.tab)
    return choice.tab->name + " (" + kind +
           face_of(choice.tab->shape, choice.tab->length_mm, choice.tab->width_mm) + ")";
  return kind + "at most " + face_of(choice.shape, choice.max_length_mm, choice.max_width_mm);
}

std::string puller_words(const PullerChoice& choice) {
  if (!choice.puller) return words_of(choice.kind);
  std::string text = choice.puller->name + " (" + spoken(choice.puller->kind);
  if (choice.puller->free_width_mm)
    text += ", " + shown(*choice.puller->free_width_mm, 0) + " mm between the feet";
  return text + ")";
}

std::string tip_words(const TipChoice& choice) {
  const std::string tip =
      choice.tip ? choice.tip->name + " (" + spoken(choice.tip->hardness) + ", " +
                       shown(choice.tip->width_mm, 1) + " mm)"
                 : "a " + spoken(choice.hardness) + " tip about " + shown(choice.width_mm, 0) + " mm wide";
  return tip + ", " +
         (choice.hammer ? choice.hammer->name + " (" + spoken(choice.hammer->weight) + ")"
                        : "a " + spoken(choice.weight) + " hammer");
}

std::string expected_pulls(const Spot& spot, const AdviceData& data) {
  const auto slope = value_of(Measure::max_slope_mrad, spot.dent, spot.facts, data.severity);
  const double share = slope ? slope->quantity.value / data.rules.visible_slope_mrad.value : 0;
  if (!(share > 1 && std::isfinite(share))) return "1 or 2";
  const double gain = data.rules.good_gain_percent.value / 100, most_gain = std::min(2 * gain, 0.9);
  const auto pulls = [share](double each) {
    constexpr double most = 20;
    return std::clamp(std::ceil(std::log(share) / -std::log(1 - each)), 1.0, most);
  };
  return shown(pulls(most_gain), 0) + " to " + shown(std::max(pulls(gain), pulls(most_gain) + 1), 0);
}

double rim_height_mm(const Dent& dent) {
  const double sign = dent.kind == Kind::low ? 1 : -1;
  double highest = 0;
  for (const auto* section : {&dent.section, &dent.cross_section})
    for (const ProfilePoint& point : *section)
      if (std::isfinite(point.height_mm)) highest = std::max(highest, sign * point.height_mm);
  // less is what a free surface wavers by
  constexpr double least_mm = 0.01, least_share = 0.06;
  return highest >= std::max(least_mm, least_share * (dent.depth_mm ? dent.depth_mm->value : 0)) ? highest
                                                                                                 : 0;
}

void plan_pull(const Spot& spot, const Reading& reading, const AdviceData& data, DentPlan& plan) {
  const TabChoice tab = choose_tab(spot, data.kit, data.rules);
  if (tab.none_fits) {
    plan.steps.push_back(no_tab_step(spot, tab));
    return;
  }
  const GlueChoice glue = choose_glue(spot.facts, data.kit, data.rules);
  plan.tab = tab;
  plan.puller = choose_puller(spot, tab, data.kit, data.rules);
  plan.pull_places = places_for(spot.dent, tab);
  plan.pull_at = glue.glue.pull;
  plan.wait_s = estimated_wait(spot, glue.glue, data.severity);
  plan.expected_pulls = expected_pulls(spot, data);
  plan.steps.push_back(tab_step(spot, tab, data.rules));
  plan.steps.push_back(glue_step(spot, tab, glue, plan.wait_s, data));
  plan.steps.push_back(pull_step(spot, tab, *plan.puller, data));
  say_where_not_to_stand(reading, plan.number - 1, *plan.puller, plan.steps.back());
}

bool holds_a_low(const Reading& reading, std::size_t index) {
  return std::any_of(reading.dents.begin(), reading.dents.end(), [&](const Dent& dent) {
    return dent.kind == Kind::low && dent.inside_of == static_cast<int>(index);
  });
}

double raised_width_mm(const Reading& reading, std::size_t index) {
  const double outer_mm = reading.dents[index].diameter_mm.value;
  double inner_mm = 0;
  for (const Dent& dent : reading.dents)
    if (dent.kind == Kind::low && dent.inside_of == static_cast<int>(index))
      inner_mm = std::max(inner_mm, dent.diameter_mm.value);
  return inner_mm < outer_mm ? (inner_mm > 0 ? 0.5 : 1.0) * (outer_mm - inner_mm) : outer_mm;
}

}  // namespace ripplegauge
