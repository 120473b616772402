// Which tab, puller, tip and glue fits a spot, by the rules and the kit.
#include "advice/choose.hpp"

#include <algorithm>
#include <cmath>

namespace ripplegauge {
namespace {

template <class T>
bool among(const std::vector<T>& list, T value) {
  return list.empty() || std::find(list.begin(), list.end(), value) != list.end();
}

template <class T>
const ChoiceRule<T>& first_that_holds(const std::vector<ChoiceRule<T>>& rules, const Spot& spot,
                                      double diameter_mm) {
  for (const auto& rule : rules)
    if (holds(rule.when, spot, diameter_mm)) return rule;
  return rules.back();  // the last one has no condition
}

/// What the rules would say at an end of the size's interval, if it differs.
template <class T>
std::optional<T> pick_within_interval(const std::vector<ChoiceRule<T>>& rules, const Spot& spot,
                                      const Quantity& size_mm, T pick) {
  for (const double end_mm : {size_mm.low, size_mm.high})
    if (const T other = first_that_holds(rules, spot, end_mm).pick; other != pick) return other;
  return std::nullopt;
}

std::string interval_says(const Quantity& size_mm, const std::string& what) {
  return "the size's interval " + shown(size_mm.low, 1) + "–" + shown(size_mm.high, 1) + " mm also allows " +
         what;
}

std::string described(TabShape shape, TabMaterial material, double length_mm, double width_mm) {
  const std::string kind = "a " + spoken(shape) + " " + spoken(material) + " tab, face up to ";
  if (shape == TabShape::round) return kind + shown(width_mm, 1) + " mm";
  return kind + shown(length_mm, 1) + " × " + shown(width_mm, 1) + " mm";
}

/// Grows with the spot: a share of it, but the smallest faces may nearly fill the smallest dents.
double largest_face_mm(double spot_mm, const AdviceRules& rules) {
  const double smallest_mm =
      std::min(rules.smallest_face_mm.value, rules.smallest_face_share.value * spot_mm);
  return std::max({0.0, rules.face_share.value * spot_mm, smallest_mm});
}

double area_mm2(const Tab& tab) { return tab.length_mm * tab.width_mm; }

bool fits(const Tab& tab, const TabChoice& choice) {
  // a round face has to fit across, whatever the spot's length
  const double longest_mm = tab.shape == TabShape::round ? choice.max_width_mm : choice.max_length_mm;
  return tab.length_mm <= longest_mm && tab.width_mm <= choice.max_width_mm;
}

std::optional<Tab> largest(const Kit& kit, const TabChoice& choice, TabShape shape, TabMaterial material) {
  std::optional<Tab> best;
  for (const Tab& tab : kit.tabs)
    if (tab.shape == shape && tab.material == material && fits(tab, choice) &&
        (!best || area_mm2(tab) > area_mm2(*best)))
      best = tab;
  return best;
}

/// The largest that fits of the better material; of the other one where that alone fits. A soft tab is never
/// chosen over a larger rigid one, so that a larger spot never gets a smaller tab when it turns from rigid to
/// soft.
std::optional<Tab> best_tab(const Kit& kit, const TabChoice& choice, TabShape shape) {
  auto rigid = largest(kit, choice, shape, TabMaterial::rigid);
  auto soft = largest(kit, choice, shape, TabMaterial::soft);
  if (!rigid || !soft) return rigid ? rigid : soft;
  if (choice.material == TabMaterial::rigid) return rigid;
  return area_mm2(*soft) >= area_mm2(*rigid) ? soft : rigid;
}

/// With no kit at all the plan says so once, at its head.
std::string names_none(const Kit& kit, const char* parts) {
  return kit.name.empty() ? "" : std::string("the kit names no ") + parts;
}

TabShape other(TabShape shape) { return shape == TabShape::round ? TabShape::long_shape : TabShape::round; }

void say_what_is_missing(const Spot& spot, const AdviceRules& rules, const Kit& kit, TabChoice& choice) {
  const std::string better =
      described(choice.shape, choice.material, choice.max_length_mm, choice.max_width_mm);
  if (!choice.tab && choice.max_width_mm < rules.smallest_face_mm.value) {
    choice.none_fits = true;
    choice.missing = "no tab fits: the face may be " + shown(choice.max_width_mm, 1) +
                     " mm wide at most, and faces under " + shown(rules.smallest_face_mm.value, 1) +
                     " mm hardly exist";
    return;
  }
  if (!choice.tab) {
    choice.missing = kit.tabs.empty() ? names_none(kit, "tabs") : "no tab of the kit fits: get " + better;
    return;
  }
  choice.small_for_spot = choice.tab->width_mm < rules.small_face_share.value * spot.dent.width_mm.low;
  if (choice.tab->shape != choice.shape || choice.tab->material != choice.material || choice.small_for_spot)
    choice.missing = "better: " + better;
}

bool is_lifter(PullerKind kind) {
  return kind == PullerKind::narrow_lifter || kind == PullerKind::wide_lifter;
}

/// Of pullers of one kind: the lifter whose feet stand nearest round the spot, on level metal. One whose
/// width nobody told comes last.
std::optional<Puller> best_puller(const Kit& kit, PullerKind kind, double feet_apart_mm) {
  constexpr double not_told_mm = 1e9;
  std::optional<Puller> best;
  for (const Puller& puller : kit.pullers) {
    if (puller.kind != kind) continue;
    if (is_lifter(kind) && puller.free_width_mm.value_or(not_told_mm) < feet_apart_mm) continue;
    if (!best || puller.free_width_mm.value_or(not_told_mm) < best->free_width_mm.value_or(not_told_mm))
      best = puller;
  }
  return best;
}

std::string described(PullerKind kind, double feet_apart_mm) {
  const std::string name = words_of(kind);
  return is_lifter(kind) ? name + " with at least " + shown(feet_apart_mm, 0) + " mm between the feet" : name;
}

std::string degrees(double celsius) { return shown(celsius, 0) + " °C"; }

double how_far_out_c(const TemperatureRange& range, double celsius) {
  return std::max({0.0, range.low_c - celsius, celsius - range.high_c});
}

/// What has to be done before a glue can be used in this air.
std::string before_gluing(const Glue& glue, double air_c) {
  const std::string made_for = "No glue here is made for air of " + degrees(air_c) + " (" + glue.name + ": " +
                               degrees(glue.air.low_c) + " to " + degrees(glue.air.high_c) + "): ";
  return made_for + (air_c < glue.air.low_c
                         ? "warm the bay and the panel, all the way through, or wait for a warmer hour"
                         : "work in the shade, cool the panel with a damp cloth and dry it, or wait for a "
                           "cooler hour");
}

}  // namespace

std::string words_of(PullerKind kind) {
  return kind == PullerKind::lateral_tension ? "tension from the side" : "a " + spoken(kind);
}

bool Condition::empty() const {
  return !diameter_from_mm && !diameter_below_mm && !thickness_below_mm && !grade_at_least &&
         !grade_at_most && material.empty() && paint.empty() && place.empty();
}

bool holds(const Condition& when, const Spot& spot, double diameter_mm) {
  if (when.diameter_from_mm && !(diameter_mm >= *when.diameter_from_mm)) return false;
  if (when.diameter_below_mm && !(diameter_mm < *when.diameter_below_mm)) return false;
  if (when.thickness_below_mm && !(spot.thickness_mm < *when.thickness_below_mm)) return false;
  // a grade that is not known fulfils no condition
  const auto& grade = spot.severity.grade;
  if (when.grade_at_least && !(grade && *grade >= *when.grade_at_least)) return false;
  if (when.grade_at_most && !(grade && *grade <= *when.grade_at_most)) return false;
  return among(when.material, spot.facts.material) && among(when.paint, spot.facts.paint) &&
         among(when.place, spot.facts.place);
}

TabChoice choose_tab(const Spot& spot, const Kit& kit, const AdviceRules& rules) {
  TabChoice choice;
  const Dent& dent = spot.dent;
  choice.max_width_mm = largest_face_mm(std::min(dent.width_mm.low, dent.diameter_mm.low), rules);
  choice.shape = spot.severity.length_over_width.value >= rules.long_from_ratio.value ? TabShape::long_shape
                                                                                      : TabShape::round;
  choice.max_length_mm = choice.shape == TabShape::round
                             ? choice.max_width_mm
                             : std::max(choice.max_width_mm, largest_face_mm(dent.length_mm.low, rules));
  const Quantity& across_mm = choice.shape == TabShape::long_shape ? dent.width_mm : dent.diameter_mm;
  const auto& material_rule = first_that_holds(rules.tab_material, spot, across_mm.value);
  choice.material = material_rule.pick;
  choice.material_reason = material_rule.reason;
  choice.preparation_decides = choice.max_width_mm < rules.preparation_decides_mm.value;

  choice.tab = best_tab(kit, choice, choice.shape);
  if (!choice.tab) choice.tab = best_tab(kit, choice, other(choice.shape));
  if (choice.shape == TabShape::long_shape) {
    // without a kit, think of round faces as wide as the crease allows
    const double one_mm = choice.tab ? choice.tab->length_mm : choice.max_length_mm;
    const double gap = rules.row_gap_mm.value;
    constexpr double most = 20;
    choice.in_row = static_cast<int>(std::clamp((choice.max_length_mm + gap) / (one_mm + gap), 1.0, most));
  }
  say_what_is_missing(spot, rules, kit, choice);

  if (spot.severity.length_over_width.straddles(rules.long_from_ratio.value))
    choice.alternatives.push_back("length over width " + shown(spot.severity.length_over_width, "") +
                                  " crosses " + shown(rules.long_from_ratio.value, 1) + ": a " +
                                  spoken(other(choice.shape)) + " tab may do as well");
  if (const auto material = pick_within_interval(rules.tab_material, spot, across_mm, choice.material))
    choice.alternatives.push_back(interval_says(across_mm, "a " + spoken(*material) + " tab"));
  return choice;
}

PullerChoice choose_puller(const Spot& spot, const TabChoice& tab, const Kit& kit, const AdviceRules& rules) {
  const auto& rule = first_that_holds(rules.pullers, spot, spot.dent.diameter_mm.value);
  PullerChoice choice;
  choice.kind = rule.pick;
  choice.reason = rule.reason;
  const double across_mm =
      tab.shape == TabShape::round ? spot.dent.diameter_mm.high : spot.dent.width_mm.high;
  choice.feet_apart_mm = across_mm + 2 * rules.feet_clear_mm.value;
  choice.puller = best_puller(kit, rule.pick, choice.feet_apart_mm);
  for (const PullerKind kind : rule.otherwise) {
    const auto candidate = best_puller(kit, kind, choice.feet_apart_mm);
    if (!choice.puller && candidate) {
      choice.puller = candidate;
      choice.missing = "better: " + described(rule.pick, choice.feet_apart_mm);
      choice.reason = "The kit has no " + spoken(rule.pick) + " for this spot. " +
                      (is_lifter(rule.pick) && !is_lifter(kind)
                           ? "Small blows, and a hand on the metal beside it, which nothing holds down."
                           : "This one comes nearest.");
    } else if (candidate) {
      choice.alternatives.push_back(candidate->name + " (" + spoken(kind) + ") also does");
    } else if (kit.pullers.empty()) {
      choice.alternatives.push_back(words_of(kind) + " also does");
    }
  }
  if (kit.pullers.empty())
    choice.missing = names_none(kit, "pullers");
  else if (!choice.puller)
    choice.missing = "no puller of the kit suits: get " + described(rule.pick, choice.feet_apart_mm);
  if (const auto kind = pick_within_interval(rules.pullers, spot, spot.dent.diameter_mm, rule.pick))
    choice.alternatives.push_back(interval_says(spot.dent.diameter_mm, words_of(*kind)));
  return choice;
}

TipChoice choose_tip(const Spot& spot, double width_mm, const Kit& kit, const AdviceRules& rules) {
  TipChoice choice;
  choice.width_mm = width_mm;
  const auto& hardness = first_that_holds(rules.tip_hardness, spot, width_mm);
  const auto& weight = first_that_holds(rules.hammers, spot, width_mm);
  choice.hardness = hardness.pick;
  choice.hardness_reason = hardness.reason;
  choice.weight = weight.pick;
  choice.weight_reason = weight.reason;

  // Hardness first, the paint's life hangs on it: never a harder tip than asked for; then the nearest width.
  const auto worse = [&](const Tip& a, const Tip& b) {
    const auto rank = [&](const Tip& tip) {
      return std::pair(static_cast<int>(choice.hardness) - static_cast<int>(tip.hardness),
                       std::abs(tip.width_mm - width_mm));
    };
    return rank(a) > rank(b);
  };
  for (const Tip& tip : kit.tips)
    if (tip.hardness <= choice.hardness && (!choice.tip || worse(*choice.tip, tip))) choice.tip = tip;
  for (const Hammer& hammer : kit.hammers)
    if (!choice.hammer || (hammer.weight == choice.weight && choice.hammer->weight != choice.weight))
      if (hammer.weight <= choice.weight) choice.hammer = hammer;

  const std::string tip_text =
      "a " + spoken(choice.hardness) + " tip about " + shown(width_mm, 0) + " mm wide";
  const std::string hammer_text = "a " + spoken(choice.weight) + " hammer";
  if (!choice.tip)
    choice.missing = kit.tips.empty() ? names_none(kit, "tips") : "no tip of the kit suits: get " + tip_text;
  else if (choice.tip->hardness != choice.hardness)
    choice.missing = "better: " + tip_text;
  if (kit.hammers.empty()) return choice;
  if (!choice.hammer || choice.hammer->weight != choice.weight)
    choice.missing += (choice.missing.empty() ? "better: " : "; better: ") + hammer_text;
  return choice;
}

GlueChoice choose_glue(const PanelFacts& facts, const Kit& kit, const AdviceRules& rules) {
  constexpr double assumed_air_c = 20;
  const double air_c = facts.air_c.value_or(assumed_air_c);
  GlueChoice choice{rules.common_glue, false, "", {}};
  const auto rank = [air_c](const Glue& glue) {
    return std::pair(how_far_out_c(glue.air, air_c), glue.cold);
  };
  for (const Glue& glue : kit.glues) {
    if (choice.of_kit && !(rank(glue) < rank(choice.glue))) continue;
    choice.glue = glue;
    choice.of_kit = true;
  }
  if (how_far_out_c(choice.glue.air, air_c) > 0) choice.not_now = before_gluing(choice.glue, air_c);
  for (const Glue& glue : kit.glues)
    if (glue.name != choice.glue.name && how_far_out_c(glue.air, air_c) == 0)
      choice.alternatives.push_back(glue.name + (glue.cold ? " (cold glue: no gun, no warm panel)" : "") +
                                    " also does");
  return choice;
}

bool is_small(const TabChoice& choice, const AdviceRules& rules) {
  return (choice.tab ? choice.tab->length_mm : choice.max_length_mm) <= rules.small_face_mm.value;
}

}  // namespace ripplegauge
