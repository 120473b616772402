// Grades of spots, each measure by itself, then together.
#include "severity/severity.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>

#include "core/power_product.hpp"
#include "ripplegauge/core/errors.hpp"

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
    case Measure::bend_radius_mm:
      return {"radius of bend over 5 mm", "mm"};
    case Measure::stretch_over_yield:
      return {"stretch", "times what the metal springs back from"};
    case Measure::stretch_percent:
      return {"stretch along the worst section", "%"};
    case Measure::paint_strain_percent:
      return {"stretch of the paint over the bend", "%"};
    case Measure::diameter_mm:
      return {"diameter", "mm"};
    case Measure::height_mm:
      return {"height", "mm"};
    case Measure::max_slope_mrad:
      return {"steepest slope, millimetres in a metre", "mrad"};
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

/// The larger of the two sections' stretch, where the reading holds both; NaN where it does not.
double stretch_of_sections(const Dent& dent) {
  if (dent.cross_section.empty()) return std::nan("");
  return std::fmax(profile_stretch(dent.section), profile_stretch(dent.cross_section));
}

std::optional<Value> stretch_of(const Dent& dent) {
  const double measured = dent.stretch.value_or(stretch_of_sections(dent));
  if (std::isfinite(measured)) {
    if (!dent.depth_mm) return Value{{measured, measured, measured}, false};
    // No interval is given: stretch goes with the square of depth, so take twice depth's.
    const Quantity depth = power_product(1, {{*dent.depth_mm, 2}});
    return Value{{measured, measured * depth.low / depth.value, measured * depth.high / depth.value}, false};
  }
  if (!dent.depth_mm) return std::nullopt;
  return Value{estimated_stretch(dent.width_mm, *dent.depth_mm), true};
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
  const auto radius = [&] { return measured_or(dent.bend_radius_mm, dent, estimated_bend_radius_mm); };
  switch (of) {
    case Measure::depth_over_width_percent:
      if (!dent.depth_mm) return std::nullopt;
      return Value{power_product(percent, {{*dent.depth_mm, 1}, {dent.width_mm, -1}}), false};
    case Measure::bend_radius_mm:
      return radius();
    case Measure::stretch_over_yield:
      if (const auto s = stretch_of(dent))
        return Value{power_product(1, {{s->quantity, 1}, {yield_strain_of(metal), -1}}), s->estimated};
      return std::nullopt;
    case Measure::stretch_percent:
      if (const auto s = stretch_of(dent)) return Value{scaled(s->quantity, percent), s->estimated};
      return std::nullopt;
    case Measure::paint_strain_percent:  // bending_strain() with intervals
      if (const auto r = radius())
        return Value{power_product(percent / 2, {{thickness_of(facts, metal), 1}, {r->quantity, -1}}),
                     r->estimated};
      return std::nullopt;
    case Measure::diameter_mm:
      return Value{dent.diameter_mm, false};
    case Measure::height_mm:
      if (!dent.depth_mm) return std::nullopt;
      return Value{*dent.depth_mm, false};
    case Measure::max_slope_mrad:
      return measured_or(dent.max_slope_mrad, dent, estimated_max_slope_mrad);
  }
  return std::nullopt;
}

/// Whether a value has reached a threshold: a grade includes its own edge.
bool reaches(Measure of, double value, double threshold) {
  return smaller_is_worse(of) ? value < threshold : value >= threshold;
}

int grade_of(Measure of, const std::vector<double>& thresholds, double value) {
  int grade = 0;
  for (const double threshold : thresholds) grade += reaches(of, value, threshold);
  return grade;
}

const std::vector<double>& thresholds_of(const GradeRule& rule, bool crease) {
  return crease && !rule.crease_thresholds.empty() ? rule.crease_thresholds : rule.thresholds;
}

/// Where round or crease is not sure, both ends of the interval are graded as both.
Finding graded(const GradeRule& rule, const Value& value, const SeverityAssessment& shape) {
  Finding finding{rule.of, value.quantity, value.estimated};
  finding.grade = grade_of(rule.of, thresholds_of(rule, shape.is_long), value.quantity.value);
  finding.mildest = finding.worst = finding.grade;
  for (const bool crease : {false, true}) {
    if (crease != shape.is_long && !shape.may_be_long) continue;
    for (const double end : {value.quantity.low, value.quantity.high}) {
      const int grade = grade_of(rule.of, thresholds_of(rule, crease), end);
      finding.mildest = std::min(finding.mildest, grade);
      finding.worst = std::max(finding.worst, grade);
    }
  }
  return finding;
}

const std::vector<GradeRule>& criteria_for(Kind kind, const SeverityRules& rules) {
  return kind == Kind::low ? rules.criteria : rules.criteria_of_highs;
}

std::string named(const Finding& finding) {
  return spoken_name(finding.of) + " " + shown(finding.value, unit_of(finding.of)) +
         (finding.estimated ? ", estimated from width and depth" : "");
}

/// "sharp begins below 40 mm": of the grade given, or of the second one for the mildest, which has no
/// threshold of its own.
std::string threshold_sentence(const SeverityRules& rules, const Dent& dent, const Finding& finding,
                               bool crease, int grade) {
  const auto& criteria = criteria_for(dent.kind, rules);
  const auto rule =
      std::find_if(criteria.begin(), criteria.end(), [&](const GradeRule& r) { return r.of == finding.of; });
  const auto at = static_cast<std::size_t>(std::max(grade, 1));
  return rules.grades[at] + " begins " + (smaller_is_worse(finding.of) ? "below " : "at ") +
         shown(thresholds_of(*rule, crease)[at - 1], 3) + " " + unit_of(finding.of) +
         (crease ? " for a crease" : "");
}

void judge_grade(const SeverityRules& rules, const Dent& dent, SeverityAssessment& result) {
  if (result.findings.empty() || !dent.depth_mm) {
    result.findings.clear();
    result.word = result.worst_word = result.spoken = "not graded";
    result.reason = "not graded: the depth is not known";
    return;
  }
  // The first of the worst: criteria stand in the order of their weight.
  const auto worst_by = [&](int Finding::*grade) {
    return *std::max_element(result.findings.begin(), result.findings.end(),
                             [grade](const Finding& a, const Finding& b) { return a.*grade < b.*grade; });
  };
  const Finding decides = worst_by(&Finding::mildest), perhaps = worst_by(&Finding::worst);
  const auto grade_word = [&](int grade) { return rules.grades[static_cast<std::size_t>(grade)]; };
  result.grade = decides.mildest;
  result.word = grade_word(decides.mildest);
  result.worst_word = grade_word(perhaps.worst);
  result.straddles = decides.mildest != perhaps.worst;
  result.spoken = result.word;
  if (result.straddles)
    result.spoken = perhaps.worst == decides.mildest + 1
                        ? result.word + ", perhaps " + result.worst_word
                        : "anything from " + result.word + " to " + result.worst_word;
  const Finding& told = result.straddles ? perhaps : decides;
  result.reason =
      result.spoken + ": " + named(told) + "; " +
      threshold_sentence(rules, dent, told, result.is_long, result.straddles ? told.worst : told.grade);
}

void worsen(SeverityAssessment& result, Pulling to, Doubt doubt) {
  result.pulling = std::max(result.pulling, to);
  result.doubts.push_back(std::move(doubt));
}

void judge_limits(const Dent& dent, const PanelFacts& facts, const SeverityRules& rules,
                  SeverityAssessment& result) {
  for (const LimitRule& rule : rules.limits) {
    if (rule.only_long && !result.is_long) continue;
    if (dent.kind == Kind::high && !rule.highs_too) continue;
    const auto value = value_of(rule.of, dent, facts, rules);
    if (!value) continue;
    const bool at_low = reaches(rule.of, value->quantity.low, rule.threshold),
               at_high = reaches(rule.of, value->quantity.high, rule.threshold);
    // an interval that ends just beyond the limit is no doubt yet: the value must be there
    if (!reaches(rule.of, value->quantity.value, rule.threshold)) continue;
    // neither an estimate nor an interval that reaches back writes a spot off
    const bool surely = at_low && at_high && !value->estimated;
    const Pulling pulling = surely ? rule.then : Pulling::doubtful;
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
  if (facts.place == Place::edge && dent.kind == Kind::low) {
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
bool smaller_is_worse(Measure measure) { return measure == Measure::bend_radius_mm; }

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
  for (const GradeRule& rule : criteria_for(dent.kind, rules))
    if (const auto value = value_of(rule.of, dent, facts, rules))
      result.findings.push_back(graded(rule, *value, result));
  judge_grade(rules, dent, result);
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

void grade(Reading& reading, const PanelFacts& facts, const SeverityRules& rules) {
  for (Dent& dent : reading.dents) {
    const SeverityAssessment severity = assess_severity(dent, facts, rules);
    dent.severity = severity.word;
    dent.severity_reason = severity.reason;
  }
}

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
