#include "ripplegauge/severity/severity.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>

#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/core/power_product.hpp"

namespace ripplegauge {
namespace {

constexpr double percent = 100;

struct MeasureWords {
  const char *name, *unit;
};

MeasureWords words_of(Measure measure) {
  switch (measure) {
    case Measure::depth_over_width_percent:
      return {"depth over width", "%"};
    case Measure::max_slope_mrad:
      return {"steepest slope", "mrad"};
    case Measure::min_radius_mm:
      return {"smallest radius of bend", "mm"};
    case Measure::paint_strain_percent:
      return {"bending strain at the paint", "%"};
    case Measure::bend_over_yield:
      return {"bending strain", "times the yield strain"};
    case Measure::stretch_percent:
      return {"stretch along the worst section", "%"};
    case Measure::stretch_over_yield:
      return {"stretch", "times the yield strain"};
  }
  return {"?", ""};
}

using Value = MeasuredValue;

/// The measured quantity if there is one, else the estimate that needs a depth, else nothing.
template <class Estimate>
std::optional<Value> measured_or(const std::optional<Quantity>& measured, const Dent& dent,
                                 Estimate estimate) {
  if (measured && std::isfinite(measured->value)) return Value{*measured, false};
  if (!dent.depth_mm) return std::nullopt;
  return Value{estimate(dent.width_mm, *dent.depth_mm), true};
}

std::optional<Value> stretch_of(const Dent& dent) {
  if (dent.stretch) {
    const double s = *dent.stretch;
    // The reading gives no interval: stretch goes with the square of depth, so take twice depth's.
    if (!dent.depth_mm) return Value{{s, s, s}, false};
    const Quantity depth = power_product(1, {{*dent.depth_mm, 2}});
    return Value{{s, s * depth.low / depth.value, s * depth.high / depth.value}, false};
  }
  if (!dent.depth_mm) return std::nullopt;
  Quantity estimate = estimated_stretch(dent.width_mm, *dent.depth_mm);
  const double along_section = profile_stretch(dent.section);
  if (along_section > estimate.value) {
    const double factor = along_section / estimate.value;
    estimate = {along_section, estimate.low * factor, estimate.high * factor};
  }
  return Value{estimate, true};
}

Quantity scaled(const Quantity& q, double factor) {
  return {q.value * factor, q.low * factor, q.high * factor};
}

Quantity yield_strain_of(const SheetMetal& metal) { return scaled(metal.yield_mpa, 1e-3 / metal.youngs_gpa); }

Quantity thickness_of(const PanelFacts& facts, const SheetMetal& metal) {
  if (facts.thickness_mm) return {*facts.thickness_mm, *facts.thickness_mm, *facts.thickness_mm};
  return metal.thickness_mm;
}

std::optional<Value> value_as_it_comes(Measure of, const Dent& dent, const PanelFacts& facts,
                                       const SeverityRules& rules) {
  const SheetMetal& metal = rules.metal(facts.material);
  const auto radius = [&] { return measured_or(dent.min_radius_mm, dent, estimated_min_radius_mm); };
  // bending_strain() with intervals
  const auto bend = [&](const Value& r, double factor) {
    return power_product(factor / 2, {{thickness_of(facts, metal), 1}, {r.quantity, -1}});
  };
  switch (of) {
    case Measure::depth_over_width_percent:
      if (!dent.depth_mm) return std::nullopt;
      return Value{power_product(percent, {{*dent.depth_mm, 1}, {dent.width_mm, -1}}), false};
    case Measure::max_slope_mrad:
      return measured_or(dent.max_slope_mrad, dent, estimated_max_slope_mrad);
    case Measure::min_radius_mm:
      return radius();
    case Measure::paint_strain_percent:
      if (const auto r = radius()) return Value{bend(*r, percent), r->estimated};
      return std::nullopt;
    case Measure::bend_over_yield:
      if (const auto r = radius())
        return Value{power_product(1, {{bend(*r, 1), 1}, {yield_strain_of(metal), -1}}), r->estimated};
      return std::nullopt;
    case Measure::stretch_percent:
      if (const auto s = stretch_of(dent)) return Value{scaled(s->quantity, percent), s->estimated};
      return std::nullopt;
    case Measure::stretch_over_yield:
      if (const auto s = stretch_of(dent))
        return Value{power_product(1, {{s->quantity, 1}, {yield_strain_of(metal), -1}}), s->estimated};
      return std::nullopt;
  }
  return std::nullopt;
}

/// Whether a value has reached a threshold: a grade includes its own edge.
bool reaches(Measure of, double value, double threshold) {
  return smaller_is_worse(of) ? value < threshold : value >= threshold;
}

int grade_of(const GradeRule& rule, double value) {
  int grade = 0;
  for (const double threshold : rule.thresholds) grade += reaches(rule.of, value, threshold);
  return grade;
}

Finding graded(const GradeRule& rule, const Value& value) {
  const int at_low = grade_of(rule, value.quantity.low), at_high = grade_of(rule, value.quantity.high);
  return {rule.of,
          value.quantity,
          value.estimated,
          grade_of(rule, value.quantity.value),
          std::min(at_low, at_high),
          std::max(at_low, at_high)};
}

std::string threshold_sentence(const SeverityRules& rules, const Finding& finding) {
  const auto rule = std::find_if(rules.criteria.begin(), rules.criteria.end(),
                                 [&](const GradeRule& r) { return r.of == finding.of; });
  const std::string side = smaller_is_worse(finding.of) ? "below " : "at ";
  // the mildest grade has no threshold of its own: say where the next one begins
  const std::size_t grade = static_cast<std::size_t>(std::max(finding.grade, 1));
  return rules.grades[grade] + " begins " + side + shown(rule->thresholds[grade - 1], 3) + " " +
         unit_of(finding.of);
}

void judge_grade(const SeverityRules& rules, SeverityAssessment& result) {
  if (result.findings.empty()) {
    result.word = result.mildest_word = result.worst_word = "not graded";
    result.reason = "not graded: neither depth nor slope nor bend is known";
    return;
  }
  const auto by_grade = [](const Finding& a, const Finding& b) { return a.grade < b.grade; };
  const Finding& decides = *std::max_element(result.findings.begin(), result.findings.end(), by_grade);
  int mildest = 0, worst = 0;
  for (const Finding& finding : result.findings) {
    mildest = std::max(mildest, finding.mildest);
    worst = std::max(worst, finding.worst);
  }
  const auto grade_word = [&](int grade) { return rules.grades[static_cast<std::size_t>(grade)]; };
  result.grade = decides.grade;
  result.word = grade_word(decides.grade);
  result.mildest_word = grade_word(mildest);
  result.worst_word = grade_word(worst);
  result.straddles = mildest != worst;
  result.reason = result.word + ": " + spoken_name(decides.of) + " " +
                  shown(decides.value, unit_of(decides.of)) +
                  (decides.estimated ? ", estimated from width and depth" : "") + "; " +
                  threshold_sentence(rules, decides);
  if (!result.straddles) return;
  result.reason += "; the interval allows ";
  if (mildest < decides.grade) result.reason += result.mildest_word;
  if (mildest < decides.grade && worst > decides.grade) result.reason += " or ";
  if (worst > decides.grade) result.reason += result.worst_word;
}

void worsen(SeverityAssessment& result, Pulling to, Doubt doubt) {
  result.pulling = std::max(result.pulling, to);
  result.doubts.push_back(std::move(doubt));
}

void judge_limits(const Dent& dent, const PanelFacts& facts, const SeverityRules& rules,
                  SeverityAssessment& result) {
  for (const LimitRule& rule : rules.limits) {
    if (rule.only_long && !result.is_long) continue;
    const auto value = value_of(rule.of, dent, facts, rules);
    if (!value) continue;
    const bool now = reaches(rule.of, value->quantity.value, rule.threshold);
    const bool maybe = reaches(rule.of, value->quantity.low, rule.threshold) ||
                       reaches(rule.of, value->quantity.high, rule.threshold);
    if (!now && !maybe) continue;
    // an estimate alone does not write a spot off
    const Pulling pulling = now && !value->estimated ? rule.then : Pulling::doubtful;
    const std::string unit = unit_of(rule.of);
    worsen(result, pulling,
           {spoken_name(rule.of),
            (pulling == Pulling::beyond ? "" : "it may be that ") + rule.says + ": " + spoken_name(rule.of) +
                " " + shown(value->quantity, unit) + (value->estimated ? ", estimated" : "") + "; limit " +
                shown(rule.threshold, 3) + " " + unit,
            value->quantity, unit, value->estimated});
  }
  if (facts.paint == Paint::damaged)
    worsen(result, Pulling::beyond,
           {"paint", "the paint is cracked or lifting: a tab would tear it off", {}, "", false});
  if (facts.place == Place::edge) {
    const auto beyond_from = rules.grade_index(rules.edge_from_grade);
    const bool beyond = result.grade && beyond_from && *result.grade >= *beyond_from;
    worsen(result, beyond ? Pulling::beyond : Pulling::doubtful,
           {"place",
            "near an edge the sheet is folded and stiff, with little room round the tab",
            {},
            "",
            false});
  }
}

void judge_shape(const Dent& dent, const SeverityRules& rules, SeverityAssessment& result) {
  result.length_over_width = power_product(1, {{dent.length_mm, 1}, {dent.width_mm, -1}});
  // a length is never below its width
  result.length_over_width.low = std::max(1.0, result.length_over_width.low);
  result.is_long = result.length_over_width.value >= rules.long_from_ratio;
  result.may_be_long = result.length_over_width.straddles(rules.long_from_ratio);
}

void judge_size(const Dent& dent, const SeverityRules& rules, SeverityAssessment& result) {
  const auto class_of = [&](double diameter_mm) {
    std::string name;
    for (const SizeClass& size : rules.sizes)
      if (diameter_mm >= size.from_mm) name = size.name;
    return name;
  };
  result.size_class = class_of(dent.diameter_mm.value);
  for (const double end_mm : {dent.diameter_mm.low, dent.diameter_mm.high})
    if (class_of(end_mm) != result.size_class) result.size_class_also = class_of(end_mm);
}

}  // namespace

std::optional<MeasuredValue> value_of(Measure of, const Dent& dent, const PanelFacts& facts,
                                      const SeverityRules& rules) {
  auto value = value_as_it_comes(of, dent, facts, rules);
  if (value && !std::isfinite(value->quantity.value)) value.reset();  // a reading may hold unknown numbers
  return value;
}

std::string spoken_name(Measure measure) { return words_of(measure).name; }
std::string unit_of(Measure measure) { return words_of(measure).unit; }
bool smaller_is_worse(Measure measure) { return measure == Measure::min_radius_mm; }

std::optional<int> SeverityRules::grade_index(const std::string& grade) const {
  const auto found = std::find(grades.begin(), grades.end(), grade);
  if (found == grades.end()) return std::nullopt;
  return static_cast<int>(found - grades.begin());
}

const SheetMetal& SeverityRules::metal(Material material) const {
  for (const SheetMetal& candidate : metals)
    if (candidate.material == material) return candidate;
  throw UsageError("the severity rules know no material \"" + std::string(word(material)) + "\"");
}

SeverityAssessment assess_severity(const Dent& dent, const PanelFacts& facts, const SeverityRules& rules) {
  SeverityAssessment result;
  judge_shape(dent, rules, result);
  judge_size(dent, rules, result);
  for (const GradeRule& rule : rules.criteria)
    if (const auto value = value_of(rule.of, dent, facts, rules))
      result.findings.push_back(graded(rule, *value));
  judge_grade(rules, result);
  judge_limits(dent, facts, rules, result);
  return result;
}

namespace {

std::string fixed(double number, int decimals) {
  if (!std::isfinite(number)) return "?";
  char text[400];  // the longest double before the point has 309 digits
  const auto end = std::to_chars(text, text + sizeof text, number, std::chars_format::fixed, decimals).ptr;
  return {text, end};
}

}  // namespace

std::string shown(double number, int decimals) {
  std::string result = fixed(number, decimals);
  if (result.find('.') != std::string::npos) {
    result.erase(result.find_last_not_of('0') + 1);
    if (result.back() == '.') result.pop_back();
  }
  return result == "-0" ? "0" : result;
}

std::string shown(const Quantity& quantity, const std::string& unit) {
  const std::string with_unit = unit.empty() ? "" : " " + unit;
  const double half = quantity.half_width();
  if (!(half > 0 && std::isfinite(half))) return shown(quantity.value, 3) + with_unit;
  // One digit of the half-width is what the number knows (from 9 on, the next coarser one: ±0.0096 is ±0.01);
  // never finer than 0.001.
  constexpr double log10_of_9 = 0.954;
  const int decimals = std::clamp(static_cast<int>(std::ceil(log10_of_9 - 1 - std::log10(half))), 0, 3);
  return fixed(quantity.value, decimals) + with_unit + " (" + fixed(quantity.low, decimals) + "–" +
         fixed(quantity.high, decimals) + ")";
}

}  // namespace ripplegauge
