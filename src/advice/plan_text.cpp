// Plans and next steps as text: in a few lines for the work at hand, or with every reason.
#include <algorithm>
#include <cmath>

#include "advice/brief.hpp"
#include "advice/next.hpp"
#include "advice/plan.hpp"
#include "core/no_dent_words.hpp"
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

std::string point_words(const Dent& dent) {
  return "the " + std::string(dent.kind == Kind::low ? "deepest" : "highest") + " point";
}

std::string where_words(const DentPlan& plan) {
  const PointMm at = plan.dent.deepest.value_or(PointMm{plan.dent.x_mm, plan.dent.y_mm});
  return point_words(plan.dent) + ": the cross in the picture (x " + shown(at.x_mm, 0) + ", y " +
         shown(at.y_mm, 0) + " mm from the card's corner tag)";
}

/// Without the card's figures: it is off by then.
std::string brief_where(const DentPlan& plan) {
  if (!plan.severity.is_long || !plan.tab) return point_words(plan.dent) + ": the cross in the picture";
  return plan.pull_places.size() > 1 ? "the crosses in the picture, ends first: they hold the crease shut"
                                     : "the crease's middle, the tab along it: it reaches from end to end";
}

void add_heading(const DentPlan& plan, bool several, TextLines& lines) {
  lines.add("SPOT " + std::to_string(plan.number) + "  ", size_words(plan));
  lines.add("  ", class_words(plan));
  lines.add("  work at ", where_words(plan));
  lines.add("  ", plan.severity.reason);
  if (several) lines.add("  turn: ", plan.order_reason);
}

std::string glue_words(const Glue& glue, const PanelFacts& facts) {
  if (glue.cold) return glue.name + ", cold: press the tab on for " + shown(glue.press_s, 0) + " s";
  return glue.name + ", gun " + shown(glue.gun_c, 0) + " °C; " + panel_words(glue, facts);
}

/// Sizes without intervals where these say nothing new: the reading and the full plan have them.
std::string brief_number(const Quantity& quantity, const std::string& unit) {
  constexpr double well_known = 0.1;
  const std::string text = shown(quantity, unit);
  if (!(quantity.half_width() <= well_known * std::abs(quantity.value))) return text;
  return text.substr(0, text.find(" ("));
}

std::string brief_size(const DentPlan& plan, const char* across) {
  const Dent& dent = plan.dent;
  const bool low = dent.kind == Kind::low;
  std::string size = low ? "low, " : "high, ";
  size += plan.severity.is_long
              ? "a crease, " + brief_number(dent.length_mm, "") + " × " + brief_number(dent.width_mm, "mm")
              : brief_number(dent.diameter_mm, "mm") + across;
  return size + (dent.depth_mm ? ", " + brief_number(*dent.depth_mm, "mm") + (low ? " deep" : " high")
                               : std::string(low ? ", depth" : ", height") + " not known");
}

const Step* step_named(const std::vector<Step>& steps, const char* code) {
  for (const Step& step : steps)
    if (step.code == code) return &step;
  return nullptr;
}

/// What the kit lacks is said in its place.
std::string of_kit_or_missing(bool of_kit, const std::string& missing, const std::string& words) {
  return of_kit || missing.empty() ? words : missing;
}

/// One line of several: what it is, and what to take.
BriefLine spot_of_several(const DentPlan& spot, bool name_puller) {
  std::string text = brief_size(spot, "") + ", " + spot.severity.spoken;
  if (step_named(spot.steps, "no_tab_fits") != nullptr) {
    text += ": no tab fits, leave it or push it out from behind";
  } else if (spot.tab) {
    const std::string row = spot.tab->in_row > 1 ? std::to_string(spot.tab->in_row) + " × " : "";
    text += ": " + row +
            (spot.tab->tab
                 ? spot.tab->tab->name
                 : spoken(spot.tab->material) + " face up to " + shown(spot.tab->max_width_mm, 1) + " mm");
    if (name_puller)
      text += ", " + (spot.puller->puller ? spot.puller->puller->name : spoken(spot.puller->kind));
  } else if (spot.tip) {
    text += ": tap down, " + tip_words(*spot.tip);
  }
  return {"Spot " + std::to_string(spot.number), text, true};
}

std::vector<BriefLine> only_spot(const DentPlan& spot) {
  std::vector<BriefLine> lines;
  const auto add = [&lines](const char* label, const std::string& text) {
    lines.push_back({label, text, true});
  };
  add("Size", brief_size(spot, " across") + ": " + spot.severity.spoken +
                  (spot.coin.empty() ? "" : "; " + spot.coin));
  for (const Doubt& doubt : spot.severity.doubts) add("Doubt", doubt.text);
  if (const Step* none = step_named(spot.steps, "no_tab_fits")) {
    add("No tab", none->action + " " + none->reason);
  } else if (spot.tab) {
    add("Glue on", brief_where(spot));
    add("Tab", of_kit_or_missing(spot.tab->tab.has_value(), spot.tab->missing,
                                 (spot.tab->in_row > 1 ? std::to_string(spot.tab->in_row) + " × " : "") +
                                     tab_words(*spot.tab)));
    add("Tool",
        of_kit_or_missing(spot.puller->puller.has_value(), spot.puller->missing, puller_words(*spot.puller)));
    if (spot.place == Place::body_line)
      add("Body line",
          (spot.dent.flattened_line ? flattened_words(*spot.dent.flattened_line, spot.dent.kind) + "; "
                                    : "") +
              "the line first, then its flanks; stop while the line is still a little low");
    if (const double rim_mm = rim_height_mm(spot.dent); rim_mm > 0)
      add("Rim", shown(rim_mm, 2) + " mm proud round it: ease it with light taps while the tab pulls");
  } else if (spot.tip) {
    add("Work at", brief_where(spot));
    add("Tap down", tip_words(*spot.tip));
  }
  return lines;
}

/// The tool where all pulls take the same one; else empty.
std::string common_puller(const Plan& plan) {
  std::string common;
  for (const DentPlan& spot : plan.dents) {
    if (!spot.puller) continue;
    const std::string words =
        of_kit_or_missing(spot.puller->puller.has_value(), spot.puller->missing, puller_words(*spot.puller));
    if (!common.empty() && common != words) return "";
    common = words;
  }
  return common;
}

std::vector<BriefLine> several_spots(const Plan& plan) {
  std::vector<BriefLine> lines;
  const std::string puller = common_puller(plan);
  for (const DentPlan& spot : plan.dents) {
    lines.push_back(spot_of_several(spot, puller.empty()));
    for (const Doubt& doubt : spot.severity.doubts)
      if (doubt.value) lines.push_back({"Doubt", doubt.text, true});
  }
  for (const Doubt& doubt : plan.dents.front().severity.doubts)  // of the panel as a whole
    if (!doubt.value) lines.push_back({"Doubt", doubt.text, false});
  if (plan.glue) lines.push_back({"Glue on", "the crosses in the picture, in this order", false});
  if (!puller.empty()) lines.push_back({"Tool", puller, false});
  return lines;
}

/// When, how hard, how often.
std::string pull_words(const Plan& plan) {
  const Glue& glue = plan.glue->glue;
  std::string text = "at " + shown(glue.pull.low_c, 0) + " to " + shown(glue.pull.high_c, 0) +
                     " °C beside the tab; the first gently";
  if (plan.facts.paint == Paint::repainted) text += ", half the glue, small steps";
  if (plan.dents.size() > 1) return text + ", then look, then more";
  return text + "; about " + plan.dents.front().expected_pulls + " pulls";
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
  const bool pulling = plan.glue.has_value();
  const bool tapping = std::any_of(plan.dents.begin(), plan.dents.end(),
                                   [](const DentPlan& spot) { return spot.tip.has_value(); });
  for (const char* code : {"cold_paint", "trial_pull"})
    if (const Step* first = step_named(plan.before, code)) add("First", first->action);
  const auto spots = plan.dents.size() > 1 ? several_spots(plan) : only_spot(plan.dents.front());
  lines.insert(lines.end(), spots.begin(), spots.end());
  if (pulling) {
    if (!plan.glue->not_now.empty()) add("Not yet", plan.glue->not_now);
    add("Glue", glue_words(plan.glue->glue, plan.facts));
    add("Pull", pull_words(plan));
    add("Look for", "stripes that straighten in the spot; metal that rises round the tab");
  }
  if (tapping && !pulling) add("Look for", "small taps from the rim inwards, eye along the stripes");
  if (pulling || tapping) add("Stop", "stripes straight through it; a crackle or a pale spot in the paint");
  add("Caution", caution_now(plan, pulling));
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
