// Plans and next steps as text: in a few lines for the work at hand, or with every reason.
#include <algorithm>

#include "ripplegauge/advice/brief.hpp"
#include "ripplegauge/advice/next.hpp"
#include "ripplegauge/advice/plan.hpp"
#include "spot_steps.hpp"
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

/// Each caution once, before the first step that it belongs to.
class CautionsInPlace {
 public:
  CautionsInPlace(const std::vector<Caution>& cautions, TextLines& lines) : open_(cautions), lines_(lines) {}

  void before(const std::string& step_code) {
    std::erase_if(open_, [&](const Caution& caution) {
      if (caution.before_step != step_code) return false;
      lines_.add("  ! ", caution.text);
      return true;
    });
  }
  void rest() {
    if (open_.empty()) return;
    lines_.blank();
    lines_.add("", "CAUTIONS");
    for (const Caution& caution : open_) lines_.add("  ! ", caution.text);
    open_.clear();
  }

 private:
  std::vector<Caution> open_;
  TextLines& lines_;
};

std::string size_words(const DentPlan& plan) {
  const Dent& dent = plan.dent;
  const bool low = dent.kind == Kind::low;
  std::string size = std::string(low ? "low" : "high") + (plan.severity.is_long ? ", a crease, " : ", ");
  size += plan.severity.is_long
              ? shown(dent.length_mm, "mm") + " long, " + shown(dent.width_mm, "mm") + " wide"
              : shown(dent.diameter_mm, "mm") + " across";
  return size + (dent.depth_mm ? ", " + shown(*dent.depth_mm, "mm") + (low ? " deep" : " high")
                               : std::string(low ? ", depth" : ", height") + " not known");
}

std::string class_words(const DentPlan& plan) {
  std::string label = plan.severity.size_class;
  if (!plan.severity.size_class_also.empty()) label += " to " + plan.severity.size_class_also;
  if (!plan.coin.empty()) label += "; " + plan.coin;
  return label;
}

std::string where_words(const DentPlan& plan) {
  const PointMm at = plan.dent.deepest.value_or(PointMm{plan.dent.x_mm, plan.dent.y_mm});
  return "the " + std::string(plan.dent.kind == Kind::low ? "deepest" : "highest") +
         " point: the cross in the picture (x " + shown(at.x_mm, 0) + ", y " + shown(at.y_mm, 0) +
         " mm from the card's corner tag)" +
         (plan.severity.is_long ? "; a crease: ends first, then towards the middle" : "");
}

void add_heading(const DentPlan& plan, bool several, TextLines& lines) {
  lines.add("SPOT " + std::to_string(plan.number) + "  ", size_words(plan));
  lines.add("  ", class_words(plan));
  lines.add("  work at ", where_words(plan));
  lines.add("  ", plan.severity.reason);
  if (several) lines.add("  turn: ", plan.order_reason);
}

std::string glue_words(const Plan& plan) {
  const Glue& glue = plan.glue->glue;
  const std::string window = shown(glue.pull.low_c, 0) + " to " + shown(glue.pull.high_c, 0) + " °C";
  if (glue.cold)
    return glue.name + ", cold: press on for " + shown(glue.press_s, 0) + " s, panel at " + window;
  return glue.name + ", gun " + shown(glue.gun_c, 0) + " °C, panel warmed to " + shown(glue.warm_panel_c, 0) +
         " °C; pull when the thermometer beside the tab reads " + window;
}

const Step* step_named(const std::vector<Step>& steps, const char* code) {
  for (const Step& step : steps)
    if (step.code == code) return &step;
  return nullptr;
}

std::vector<BriefLine> brief_spot(const DentPlan& spot, bool several) {
  std::vector<BriefLine> lines;
  const auto add = [&lines](const char* label, const std::string& text) {
    lines.push_back({label, text, true});
  };
  lines.push_back({several ? "Spot " + std::to_string(spot.number) : "Size",
                   size_words(spot) + ": " + spot.severity.spoken, true});
  if (!several && !spot.coin.empty()) add("", class_words(spot));
  for (const Doubt& doubt : spot.severity.doubts)
    if (!several || doubt.value) add("Doubt", doubt.text);  // of the panel as a whole: once, for all spots
  if (const Step* none = step_named(spot.steps, "no_tab_fits")) {
    add("", none->action + " " + none->reason);
  } else if (spot.tab) {
    const std::string row = spot.tab->in_row > 1 ? std::to_string(spot.tab->in_row) + " × " : "";
    if (several) {
      add("", row + tab_words(*spot.tab) + "; " + puller_words(*spot.puller));
      return lines;
    }
    add("Glue on", where_words(spot));
    add("Tab", row + tab_words(*spot.tab));
    add("Tool", puller_words(*spot.puller));
    if (spot.place == Place::body_line)
      add("Body line", "the line first, then its flanks; stop while the line is still a little low");
    if (const double rim_mm = rim_height_mm(spot.dent); rim_mm > 0)
      add("Rim", shown(rim_mm, 2) + " mm proud round it: ease it with light taps while the tab pulls");
  } else if (spot.tip) {
    if (!several) add("Work at", where_words(spot));
    add(several ? "" : "Tap down", tip_words(*spot.tip));
  }
  return lines;
}

std::string pulls_of(const Plan& plan) {
  for (const DentPlan& spot : plan.dents)
    if (!spot.expected_pulls.empty()) return spot.expected_pulls;
  return "";
}

std::string caution_now(const Plan& plan, bool pulling) {
  const std::string eyes = "eye protection on";
  if (plan.facts.paint == Paint::damaged) return "the paint is broken: neither glue nor tap on it";
  if (!pulling) return eyes + ", ear protection for tapping";
  const Glue& glue = plan.glue->glue;
  return glue.cold ? eyes + ", stand out of line of tab and puller"
                   : eyes + "; glue and nozzle at " + shown(glue.gun_c, 0) + " °C burn at once and stick";
}

void add_brief_plan(const Plan& plan, TextLines& lines) {
  constexpr std::size_t label_width = 11;
  for (const BriefLine& line : brief_plan(plan))
    lines.add("  " + line.label + std::string(label_width - std::min(label_width, line.label.size()), ' '),
              line.text);
}

void add_full_plan(const Plan& plan, TextLines& lines) {
  lines.add("  kit: ", plan.kit.empty() ? "none given, so parts are described instead of named" : plan.kit);
  int number = 0;
  CautionsInPlace cautions(plan.cautions, lines);
  const auto add_steps = [&](const std::vector<Step>& steps) {
    for (const Step& step : steps) {
      cautions.before(step.code);
      add_step(step, ++number, true, lines);
    }
  };
  lines.blank();
  lines.add("", "BEFORE YOU START");
  cautions.before("");
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
  cautions.rest();
  if (plan.questions.empty()) return;
  lines.blank();
  lines.add("", "NOT YET KNOWN, and worth telling");
  for (const Question& question : plan.questions) lines.add("  ? ", question.text);
}

}  // namespace

std::vector<BriefLine> brief_plan(const Plan& plan) {
  std::vector<BriefLine> lines;
  if (plan.dents.empty()) return lines;
  const auto add = [&lines](const char* label, const std::string& text) {
    lines.push_back({label, text, false});
  };
  const bool several = plan.dents.size() > 1, pulling = plan.glue.has_value();
  const bool tapping = std::any_of(plan.dents.begin(), plan.dents.end(),
                                   [](const DentPlan& spot) { return spot.tip.has_value(); });
  for (const char* code : {"cold_paint", "trial_pull"})
    if (const Step* first = step_named(plan.before, code)) add("First", first->action);
  for (const DentPlan& spot : plan.dents)
    for (BriefLine& line : brief_spot(spot, several)) lines.push_back(std::move(line));
  if (several)
    for (const Doubt& doubt : plan.dents.front().severity.doubts)
      if (!doubt.value) add("Doubt", doubt.text);
  if (several && pulling) add("Glue on", "the crosses in the picture, in this order");
  if (pulling) {
    if (!plan.glue->not_now.empty()) add("Not yet", plan.glue->not_now);
    add("Glue", glue_words(plan));
    add("Pull", "the first gently, then look, then more" +
                    (several ? std::string() : "; about " + pulls_of(plan) + " pulls"));
    add("Look for", "stripes that straighten in the spot; metal that rises round the tab");
  }
  if (tapping && !pulling) add("Look for", "small taps from the rim inwards, eye along the stripes");
  if (pulling || tapping)
    add("Stop", "when the stripes run straight through; at a crackle or a pale spot in the paint");
  add("Caution", caution_now(plan, pulling));
  std::string open;
  for (const Question& question : plan.questions) open += (open.empty() ? "" : ", ") + question.code;
  if (!open.empty()) add("Not told", open);
  return lines;
}

std::string plan_to_text(const Plan& plan, bool full, int width) {
  TextLines lines(width);
  lines.add("PLAN  ", plan.photo);
  if (!plan.nothing_to_do.empty())
    lines.add("  ", plan.nothing_to_do);
  else if (full)
    add_full_plan(plan, lines);
  else
    add_brief_plan(plan, lines);
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
  if (full) CautionsInPlace(next.cautions, lines).rest();
  return lines.text();
}

}  // namespace ripplegauge
