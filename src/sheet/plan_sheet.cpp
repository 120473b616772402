// The plan on paper: page 1 to read at arm's length in the bay, page 2 with everything.
#include "ripplegauge/sheet/plan_sheet.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "ripplegauge/advice/brief.hpp"
#include "ripplegauge/draw/canvas.hpp"
#include "sheet_parts.hpp"

namespace ripplegauge {
namespace {

/// How much of a plan's steps is drawn: the first of these that fits. The points of the general steps are
/// always there.
struct StepDetail {
  double font_mm = 3.0;
  bool reasons = true, spot_points = true, spots_in_full = true;
};
constexpr StepDetail step_details[] = {
    {3.0, true, true, true},   {2.7, true, true, true},   {2.5, true, true, true},  {2.3, true, true, true},
    {2.8, true, true, false},  {2.5, true, true, false},  {2.6, false, true, true}, {2.4, false, true, true},
    {2.6, false, true, false}, {2.3, false, true, false}, {2.1, false, true, false}};

/// The same for the side: questions make room, cautions never do.
struct SideDetail {
  double font_mm = 2.6;
  bool questions = true;
};
constexpr SideDetail side_details[] = {{2.6, true}, {2.4, true}, {2.2, true}, {2.2, false}, {2.0, false}};

/// Page 1: 12 points, and no less than 10 where there is much to say.
constexpr double brief_fonts_mm[] = {4.3, 3.9, 3.6};

constexpr double margin_mm = 12, gutter_mm = 6, side_column_mm = 60, tick_mm = 2.8, indent_mm = tick_mm + 2;

/// Draws downwards in one column.
class Column {
 public:
  Column(Canvas& canvas, PageBox box, double font_mm)
      : canvas_(canvas), box_(box), font_mm_(font_mm), y_mm_(box.y_mm) {}

  double y_mm() const { return y_mm_; }
  void skip(double height_mm) { y_mm_ += height_mm; }

  void text(const std::string& words, const Font& font, double left_mm = 0) {
    y_mm_ = canvas_.paragraph({box_.x_mm + left_mm, y_mm_}, box_.width_mm - left_mm, words, font);
  }
  void heading(const std::string& words) {
    skip(0.5 * font_mm_);
    text(words, {1.15 * font_mm_, true, accent});
    skip(0.2 * font_mm_);
  }
  void small(const std::string& words, double left_mm = 0) {
    text(words, {0.88 * font_mm_, false, dark_grey}, left_mm);
  }
  void plain(const std::string& words, double left_mm = 0) { text(words, {font_mm_, false, black}, left_mm); }

  void tick() {
    canvas_.outline({box_.x_mm, y_mm_ + 0.15 * font_mm_, tick_mm, tick_mm}, {dark_grey, 0.25, 0});
  }

  /// A box to tick, a number, and the step.
  void step(const Step& step, int number, bool reasons, bool points) {
    tick();
    text(std::to_string(number) + ". " + step.action, {font_mm_, true, black}, indent_mm);
    if (points)
      for (const std::string& point : step.points) plain("• " + point, indent_mm);
    small((reasons ? step.reason + " " : "") + facts_text(step), indent_mm);
    if (reasons)
      for (const std::string& alternative : step.alternatives) small("Or: " + alternative, indent_mm);
    if (!step.missing.empty()) small("Missing: " + step.missing, indent_mm);
    skip(0.45 * font_mm_);
  }

 private:
  Canvas& canvas_;
  PageBox box_;
  double font_mm_, y_mm_;
};

std::string size_line(const DentPlan& plan) {
  const Dent& dent = plan.dent;
  std::string text = dent.kind == Kind::low ? "low, " : "high, ";
  if (plan.severity.is_long)
    text += shown(dent.length_mm.value, 1) + " × " + shown(dent.width_mm.value, 1) + " mm";
  else
    text += shown(dent.diameter_mm, "mm");
  if (dent.depth_mm)
    text += ", " + shown(*dent.depth_mm, "mm") + (dent.kind == Kind::low ? " deep" : " high");
  return text + "; x " + shown(dent.x_mm, 0) + ", y " + shown(dent.y_mm, 0);
}

/// What to do with a spot, for a page with many.
std::string choices_line(const DentPlan& plan) {
  if (!plan.tab && !plan.tip) return "leave it: probably beyond pulling";
  std::string text;
  if (plan.severity.beyond_pulling()) text = "probably beyond pulling; ";
  if (plan.tab) {
    text +=
        plan.tab->tab ? plan.tab->tab->name : "tab face up to " + shown(plan.tab->max_width_mm, 1) + " mm";
    if (plan.tab->in_row > 1) text += " × " + std::to_string(plan.tab->in_row);
  }
  if (plan.puller)
    text += ", " + (plan.puller->puller ? plan.puller->puller->name : spoken(plan.puller->kind));
  if (plan.pull_at)
    text += ", pull at " + shown(plan.pull_at->low_c, 1) + "–" + shown(plan.pull_at->high_c, 1) + " °C";
  if (plan.tip)
    text +=
        "tap down, tip " + (plan.tip->tip ? plan.tip->tip->name : shown(plan.tip->width_mm, 0) + " mm wide");
  return text;
}

/// From the card's directions, relative to a spot's middle, to the page: y points up on the card and down
/// here. The drawing may be turned to save width.
struct SpotView {
  PagePoint centre;
  double turn_deg = 0;

  PagePoint at(double x_mm, double y_mm) const {
    const double turn = turn_deg * std::numbers::pi / 180;
    return {centre.x_mm + x_mm * std::cos(turn) - y_mm * std::sin(turn),
            centre.y_mm - x_mm * std::sin(turn) - y_mm * std::cos(turn)};
  }
  std::vector<PagePoint> ellipse(PointMm middle, double length_mm, double width_mm, double angle_deg) const {
    constexpr int corners = 72;
    const double angle = angle_deg * std::numbers::pi / 180;
    std::vector<PagePoint> points;
    for (int i = 0; i <= corners; ++i) {
      const double round = 2 * std::numbers::pi * i / corners;
      const double u = 0.5 * length_mm * std::cos(round), v = 0.5 * width_mm * std::sin(round);
      points.push_back(at(middle.x_mm + u * std::cos(angle) - v * std::sin(angle),
                          middle.y_mm + u * std::sin(angle) + v * std::cos(angle)));
    }
    return points;
  }
};

std::vector<PagePoint> outline_of(const Dent& dent, const SpotView& view) {
  if (dent.outline.size() < 3)
    return view.ellipse({0, 0}, dent.length_mm.value, dent.width_mm.value, dent.angle_deg);
  std::vector<PagePoint> points;
  for (const PointMm& point : dent.outline)
    points.push_back(view.at(point.x_mm - dent.x_mm, point.y_mm - dent.y_mm));
  points.push_back(points.front());
  return points;
}

void draw_tabs(Canvas& canvas, const SpotView& view, const Dent& dent, const TabChoice& choice) {
  const Tab& tab = *choice.tab;
  const double angle = dent.angle_deg * std::numbers::pi / 180;
  // the row is centred on the spot, its gaps as equal as they come
  const double spacing_mm =
      choice.in_row > 1 ? (choice.max_length_mm - tab.length_mm) / (choice.in_row - 1) : 0;
  for (int i = 0; i < choice.in_row; ++i) {
    const double along_mm = (i - 0.5 * (choice.in_row - 1)) * spacing_mm;
    const PointMm middle{along_mm * std::cos(angle), along_mm * std::sin(angle)};
    canvas.line(view.ellipse(middle, tab.length_mm, tab.width_mm, dent.angle_deg), {accent, 0.4, 1.0});
  }
}

constexpr double air_mm = 4, tallest_mm = 95;

double drawn_length_mm(const Dent& dent) { return std::max(dent.length_mm.value, dent.diameter_mm.value); }

/// Two feet, across the spot's length: where a lifter stands, with as much room between them as it has.
void draw_feet(Canvas& canvas, const SpotView& view, const DentPlan& plan) {
  if (!plan.puller || !plan.puller->puller || !plan.puller->puller->free_width_mm) return;
  const double angle = (plan.dent.angle_deg + 90) * std::numbers::pi / 180;
  constexpr double foot_mm = 10;
  const double from_mm = 0.5 * *plan.puller->puller->free_width_mm + 0.5 * foot_mm;
  for (const double side : {-from_mm, from_mm})
    canvas.line(view.ellipse({side * std::cos(angle), side * std::sin(angle)}, 1.6 * foot_mm, foot_mm,
                             plan.dent.angle_deg),
                {mid_grey, 0.4, 1.5});
}

double across_mm(const DentPlan& plan) {
  const double feet_mm =
      plan.puller && plan.puller->puller ? plan.puller->puller->free_width_mm.value_or(0) + 20 : 0;
  return std::max(plan.dent.width_mm.value, feet_mm);
}

/// Whether a column can show a spot at true size, with the lifter's feet; false for NaN.
bool has_room(const DentPlan& plan, double width_mm) {
  return drawn_length_mm(plan.dent) <= width_mm - 2 * air_mm && across_mm(plan) <= tallest_mm;
}

/// The spot's edge, the faces in it, the lifter's feet and a cross on the deepest point, at true size: lay
/// the tab on the paper. Its length lies across the page. Returns the height it took.
double draw_true_size(Canvas& canvas, const PageBox& box, const DentPlan& plan) {
  const Dent& dent = plan.dent;
  const double height_mm = across_mm(plan) + 2 * air_mm;
  const SpotView view{{box.x_mm + 0.5 * box.width_mm, box.y_mm + 0.5 * height_mm}, -dent.angle_deg};
  canvas.line(outline_of(dent, view), {black, 0.4, 0});
  if (plan.tab && plan.tab->tab) draw_tabs(canvas, view, dent, *plan.tab);
  draw_feet(canvas, view, plan);
  const PointMm deepest = dent.deepest.value_or(PointMm{dent.x_mm, dent.y_mm});
  const PagePoint at = view.at(deepest.x_mm - dent.x_mm, deepest.y_mm - dent.y_mm);
  constexpr double arm_mm = 2;
  canvas.line({{at.x_mm - arm_mm, at.y_mm}, {at.x_mm + arm_mm, at.y_mm}}, {accent, 0.4, 0});
  canvas.line({{at.x_mm, at.y_mm - arm_mm}, {at.x_mm, at.y_mm + arm_mm}}, {accent, 0.4, 0});
  return height_mm;
}

/// A file can say anything of a spot; what no panel is as large as is left out. False for NaN.
bool fits_a_map(const Dent& dent) {
  constexpr double largest_mm = 1e4;
  return std::abs(dent.x_mm) < largest_mm && std::abs(dent.y_mm) < largest_mm &&
         drawn_length_mm(dent) < largest_mm && std::abs(dent.length_mm.value) < largest_mm &&
         std::abs(dent.width_mm.value) < largest_mm;
}

/// All spots as they lie, with their numbers, and the card's corner. Returns the height it took.
double draw_map(Canvas& canvas, const PageBox& box, const Plan& plan) {
  double x0 = -15, y0 = -15, x1 = 60, y1 = 40;  // the card's corner, in its own millimetres
  for (const DentPlan& spot : plan.dents) {
    if (!fits_a_map(spot.dent)) continue;
    const double reach = 0.6 * drawn_length_mm(spot.dent);
    x0 = std::min(x0, spot.dent.x_mm - reach);
    x1 = std::max(x1, spot.dent.x_mm + reach);
    y0 = std::min(y0, spot.dent.y_mm - reach);
    y1 = std::max(y1, spot.dent.y_mm + reach);
  }
  const double scale = std::min(box.width_mm / (x1 - x0), box.height_mm / (y1 - y0));
  const auto at = [&](double x_mm, double y_mm) {
    return PagePoint{box.x_mm + (x_mm - x0) * scale, box.y_mm + (y1 - y_mm) * scale};
  };
  canvas.line({at(50, -8), at(-8, -8), at(-8, 35)}, {mid_grey, 1.2, 0});  // the card's arms
  constexpr double number_mm = 3.6;
  for (const DentPlan& spot : plan.dents) {
    const Dent& dent = spot.dent;
    if (!fits_a_map(dent)) continue;
    std::vector<PagePoint> outline;
    constexpr int corners = 48;
    const double angle = std::isfinite(dent.angle_deg) ? dent.angle_deg * std::numbers::pi / 180 : 0;
    for (int i = 0; i <= corners; ++i) {
      const double round = 2 * std::numbers::pi * i / corners;
      const double u = 0.5 * dent.length_mm.value * std::cos(round),
                   v = 0.5 * dent.width_mm.value * std::sin(round);
      outline.push_back(at(dent.x_mm + u * std::cos(angle) - v * std::sin(angle),
                           dent.y_mm + u * std::sin(angle) + v * std::cos(angle)));
    }
    canvas.line(outline, {dent.kind == Kind::low ? accent : black, 0.4, dent.kind == Kind::low ? 0.0 : 1.0});
    const PagePoint beside = at(dent.x_mm + 0.5 * dent.length_mm.value, dent.y_mm);
    canvas.text({std::min(beside.x_mm + 0.8, box.right_mm() - 8), beside.y_mm + 0.35 * number_mm},
                std::to_string(spot.number), {number_mm, true, black});
  }
  return (y1 - y0) * scale;
}

double draw_head(Canvas& canvas, const PageBox& box, const Plan& plan) {
  Column head(canvas, box, 3.0);
  head.text("Plan: " + plan.photo, {5.0, true, black});
  const auto said = [](const std::string& word) {
    return word == "not sure" ? std::string("not sure (ask)") : word;
  };
  head.small("metal " + said(spoken(plan.facts.material)) + ", paint " + said(spoken(plan.facts.paint)) +
             ", coating " + said(spoken(plan.facts.coating)) + ", place " + said(spoken(plan.facts.place)) +
             ", kit: " + (plan.kit.empty() ? "none given" : plan.kit));
  head.skip(1);
  canvas.line({{box.x_mm, head.y_mm()}, {box.right_mm(), head.y_mm()}}, {mid_grey, 0.3, 0});
  return head.y_mm() + 2;
}

const DentPlan& first_to_pull(const Plan& plan) {
  const auto found = std::find_if(plan.dents.begin(), plan.dents.end(),
                                  [](const DentPlan& dent) { return dent.tab.has_value(); });
  return found == plan.dents.end() ? plan.dents.front() : *found;
}

/// As many spots as fit, one after the other, and how many had no room.
void draw_spot_lines(Column& column, double bottom_mm, const Plan& plan) {
  constexpr double room_for_the_rest_mm = 56;  // what comes afterwards, without reasons
  column.heading("Spots, in the order of work");
  for (const Step& step : first_to_pull(plan).steps)
    if (step.code == "glue") column.plain(step.action);
  std::size_t drawn = 0;
  for (; drawn < plan.dents.size() && column.y_mm() < bottom_mm - room_for_the_rest_mm; ++drawn) {
    const DentPlan& dent = plan.dents[drawn];
    column.tick();
    column.plain("Spot " + std::to_string(dent.number) + ": " + size_line(dent) + "; " + dent.severity.word,
                 indent_mm);
    column.small(choices_line(dent), indent_mm);
  }
  if (drawn < plan.dents.size())
    column.plain("and " + std::to_string(plan.dents.size() - drawn) + " more: see the plan's text or JSON");
}

double draw_steps_column(Canvas& canvas, const PageBox& box, const Plan& plan, const StepDetail& detail) {
  Column column(canvas, box, detail.font_mm);
  int number = 0;
  column.heading("Before you start");
  for (const Step& step : plan.before) column.step(step, ++number, detail.reasons, true);
  if (detail.spots_in_full)
    for (const DentPlan& dent : plan.dents) {
      column.heading("Spot " + std::to_string(dent.number) + ": " + size_line(dent));
      column.small(dent.severity.reason);
      for (const Step& step : dent.steps) column.step(step, ++number, detail.reasons, detail.spot_points);
    }
  else
    draw_spot_lines(column, box.bottom_mm(), plan);
  if (!plan.after.empty()) column.heading("Afterwards");
  for (const Step& step : plan.after) column.step(step, ++number, detail.reasons, true);
  return column.y_mm();
}

double draw_side_column(Canvas& canvas, const PageBox& box, const Plan& plan, const SideDetail& detail) {
  Column column(canvas, box, detail.font_mm);
  column.heading("Cautions");
  for (const Caution& caution : plan.cautions) {
    column.plain(caution.text);
    column.skip(0.8);
  }
  if (detail.questions && !plan.questions.empty()) {
    column.heading("Not yet known");
    for (const Question& question : plan.questions) column.plain(question.text);
  }
  return column.y_mm();
}

/// Labels on the left, what to do beside them; spots that do not fit above `bottom_mm` are counted.
double draw_brief(Canvas& canvas, const PageBox& box, double bottom_mm, const Plan& plan, double font_mm) {
  const double label_mm = 5.2 * font_mm, gap_mm = 0.35 * font_mm;
  const std::vector<BriefLine> lines = brief_plan(plan);
  const auto after = std::count_if(lines.begin(), lines.end(), [](const BriefLine& l) { return !l.of_spot; });
  const double spots_end_mm = bottom_mm - static_cast<double>(after) * 2.9 * font_mm;
  double y_mm = box.y_mm;
  std::size_t left_out = 0;
  for (const BriefLine& line : lines) {
    if (line.of_spot && y_mm > spots_end_mm) {
      left_out += !line.label.empty();
      continue;
    }
    if (!line.of_spot && left_out > 0) {
      y_mm = canvas.paragraph({box.x_mm + label_mm, y_mm}, box.width_mm - label_mm,
                              "and " + std::to_string(left_out) + " more: see the map and the plan's text",
                              {font_mm, false, dark_grey}) +
             gap_mm;
      left_out = 0;
    }
    if (!line.label.empty())
      canvas.paragraph({box.x_mm, y_mm}, label_mm, line.label, {font_mm, true, accent});
    y_mm = canvas.paragraph({box.x_mm + label_mm, y_mm}, box.width_mm - label_mm, line.text,
                            {font_mm, false, black}) +
           gap_mm;
  }
  return y_mm;
}

/// What the space below the lines has room for: the map of several spots, else the spot at true size.
void draw_below(Canvas& canvas, const PageBox& box, const Plan& plan) {
  constexpr double heading_mm = 4.3, least_map_mm = 40;
  Column column(canvas, box, heading_mm);
  if (plan.dents.size() > 1) {
    if (box.height_mm < least_map_mm + 2 * heading_mm) return;
    column.heading("Where they lie, the card's corner at the lower left");
    draw_map(canvas, {box.x_mm, column.y_mm() + 2, box.width_mm, box.bottom_mm() - column.y_mm() - 4}, plan);
    return;
  }
  const DentPlan& spot = plan.dents.front();
  if (!has_room(spot, box.width_mm) || across_mm(spot) + 2 * air_mm + 4 * heading_mm > box.height_mm) return;
  const bool face = spot.tab && spot.tab->tab;
  column.heading(std::string("True size: the spot") + (face ? ", the tab (dashed)" : "") +
                 ", the deepest point (cross)");
  column.skip(draw_true_size(canvas, {box.x_mm, column.y_mm(), box.width_mm, 0}, spot));
  column.small(std::string("On paper printed at 100 %") + (face ? ": lay the tab on it." : ".") +
               (spot.puller && spot.puller->puller && spot.puller->puller->free_width_mm
                    ? " Grey: the lifter's feet, as far apart as they stand."
                    : ""));
}

/// The first detail with which a column ends above `bottom_mm`; the last one if none does.
template <class Detail, std::size_t count, class Draw>
const Detail& first_that_fits(const Detail (&details)[count], double bottom_mm, const PaperSize& size,
                              Draw draw) {
  for (const Detail& detail : details) {
    Canvas scratch(size.width_mm, size.height_mm, "");
    if (draw(scratch, detail) <= bottom_mm) return detail;
  }
  return details[count - 1];
}

}  // namespace

std::string plan_sheet_pdf(const Plan& plan, Paper paper) {
  const PaperSize size = size_of(paper);
  const double width_mm = size.width_mm - 2 * margin_mm, bottom_mm = size.height_mm - margin_mm;
  Canvas canvas(size.width_mm, size.height_mm, "Plan");
  const double top_mm = draw_head(canvas, {margin_mm, margin_mm, width_mm, 0}, plan);
  if (!plan.nothing_to_do.empty()) {
    canvas.paragraph({margin_mm, top_mm + 5}, width_mm, plan.nothing_to_do, {4.0, false, black});
    return canvas.finish();
  }
  double brief_end_mm = 0, brief_font_mm = 0;
  for (const double font_mm : brief_fonts_mm) {
    Canvas scratch(size.width_mm, size.height_mm, "");
    brief_font_mm = font_mm;
    if (draw_brief(scratch, {margin_mm, top_mm + 2, width_mm, 0}, bottom_mm, plan, font_mm) <= bottom_mm)
      break;
  }
  brief_end_mm = draw_brief(canvas, {margin_mm, top_mm + 2, width_mm, 0}, bottom_mm, plan, brief_font_mm);
  draw_below(canvas, {margin_mm, brief_end_mm + 2, width_mm, bottom_mm - brief_end_mm - 2}, plan);

  canvas.next_page();
  draw_head(canvas, {margin_mm, margin_mm, width_mm, 0}, plan);
  const PageBox steps{margin_mm, top_mm, width_mm - side_column_mm - gutter_mm, bottom_mm - top_mm};
  const PageBox side{steps.right_mm() + gutter_mm, top_mm, side_column_mm, steps.height_mm};
  const auto draw_steps = [&](Canvas& on, const StepDetail& detail) {
    return draw_steps_column(on, steps, plan, detail);
  };
  const auto draw_side = [&](Canvas& on, const SideDetail& detail) {
    return draw_side_column(on, side, plan, detail);
  };
  draw_steps(canvas, first_that_fits(step_details, bottom_mm, size, draw_steps));
  draw_side(canvas, first_that_fits(side_details, bottom_mm, size, draw_side));
  const double rule_x_mm = steps.right_mm() + 0.5 * gutter_mm;
  canvas.line({{rule_x_mm, top_mm}, {rule_x_mm, bottom_mm}}, {pale_grey, 0.3, 0});
  return canvas.finish();
}

}  // namespace ripplegauge
