#include "ripplegauge/advice/next.hpp"
#include "ripplegauge/advice/plan.hpp"
#include "text_lines.hpp"

namespace ripplegauge {
namespace {

void add_step(const Step& step, int number, bool full, TextLines& lines) {
  const std::string label = std::to_string(number);
  lines.add(std::string(label.size() < 2 ? 2 - label.size() : 0, ' ') + label + "  ", step.action);
  for (const std::string& point : step.points) lines.add("    - ", point);
  lines.add("    why: ", full ? step.reason + " " + facts_text(step) : step.reason);
  if (full)
    for (const std::string& alternative : step.alternatives) lines.add("    or: ", alternative);
  if (!step.missing.empty()) lines.add("    missing: ", step.missing);
}

void add_cautions(const std::vector<Caution>& cautions, TextLines& lines) {
  if (cautions.empty()) return;
  lines.blank();
  lines.add("", "CAUTIONS");
  for (const Caution& caution : cautions) lines.add("  ! ", caution.text);
}

void add_heading(const DentPlan& plan, bool several, TextLines& lines) {
  const Dent& dent = plan.dent;
  std::string size = shown(dent.diameter_mm, "mm") + " across";
  if (plan.severity.is_long)
    size = shown(dent.length_mm, "mm") + " long, " + shown(dent.width_mm, "mm") + " wide";
  const bool low = dent.kind == Kind::low;
  size += dent.depth_mm ? ", " + shown(*dent.depth_mm, "mm") + (low ? " deep" : " high")
                        : std::string(low ? ", depth" : ", height") + " not known";
  std::string label = plan.severity.size_class;
  if (!plan.severity.size_class_also.empty()) label += " to " + plan.severity.size_class_also;
  if (!plan.coin.empty()) label += "; " + plan.coin;
  label += "; x " + shown(dent.x_mm, 0) + ", y " + shown(dent.y_mm, 0) + " mm on the card";
  lines.add("SPOT " + std::to_string(plan.number) + "  ",
            std::string(low ? "Low" : "High") + (plan.severity.is_long ? ", a crease" : "") + ": " + size);
  lines.add("  ", label);
  lines.add("  ", plan.severity.reason);
  if (several) lines.add("  turn: ", plan.order_reason);
}

}  // namespace

std::string plan_to_text(const Plan& plan, int width) {
  TextLines lines(width);
  lines.add("PLAN  ", plan.photo);
  if (!plan.nothing_to_do.empty()) {
    lines.add("  ", plan.nothing_to_do);
    return lines.text();
  }
  lines.add("  kit: ", plan.kit.empty() ? "none given, so parts are described instead of named" : plan.kit);
  int number = 0;
  const auto add_steps = [&](const std::vector<Step>& steps) {
    for (const Step& step : steps) add_step(step, ++number, true, lines);
  };
  lines.blank();
  lines.add("", "BEFORE YOU START");
  add_steps(plan.before);
  for (const DentPlan& dent : plan.dents) {
    lines.blank();
    add_heading(dent, plan.dents.size() > 1, lines);
    add_steps(dent.steps);
  }
  if (!plan.after.empty()) {
    lines.blank();
    lines.add("", "AFTERWARDS");
    add_steps(plan.after);
  }
  if (!plan.questions.empty()) {
    lines.blank();
    lines.add("", "NOT YET KNOWN, and worth telling");
    for (const Question& question : plan.questions) lines.add("  ? ", question.text);
  }
  add_cautions(plan.cautions, lines);
  return lines.text();
}

std::string next_to_text(const NextStep& next, bool full, int width) {
  TextLines lines(width);
  lines.add("NEXT  ", next.summary);
  lines.add("  from ", next.before + " to " + next.after);
  for (const Warning& warning : next.warnings) lines.add("  warning: ", warning.message);
  if (!next.spots.empty()) lines.blank();
  int number = 0;
  for (const SpotNext& spot : next.spots) {
    add_step(spot.step, ++number, full, lines);
    if (full)
      for (const Step& detail : spot.details) add_step(detail, ++number, full, lines);
  }
  if (full) add_cautions(next.cautions, lines);
  return lines.text();
}

}  // namespace ripplegauge
