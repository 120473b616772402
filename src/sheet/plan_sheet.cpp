// The plan on paper: page 1 to read at arm's length in the bay, then pages with everything.
#include "sheet/plan_sheet.hpp"

#include <algorithm>

#include "advice/brief.hpp"
#include "plan_parts.hpp"

namespace ripplegauge {
namespace {

/// Page 1: 12 points, and no less than 10 where there is much to say.
constexpr double brief_fonts_mm[] = {4.3, 3.9, least_font_mm};

constexpr double margin_mm = 12;

std::string file_name(const std::string& path) { return path.substr(path.find_last_of('/') + 1); }

/// Labels on the left, what to do beside them; spots that do not fit above `bottom_mm` are counted.
double draw_brief(Canvas& canvas, const PageBox& box, double bottom_mm, const Plan& plan, double font_mm,
                  const ShownUnits& units) {
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
                              "and " + std::to_string(left_out) + " more: see the next pages",
                              {font_mm, false, dark_grey}) +
             gap_mm;
      left_out = 0;
    }
    if (!line.label.empty())
      canvas.paragraph({box.x_mm, y_mm}, label_mm, line.label, {font_mm, true, accent});
    y_mm = canvas.paragraph({box.x_mm + label_mm, y_mm}, box.width_mm - label_mm, in_units(line.text, units),
                            {font_mm, false, black}) +
           gap_mm;
  }
  return y_mm;
}

/// What the space below the lines has room for: the map of several spots, else the spot at true size.
void draw_below(Canvas& canvas, const PageBox& box, const Plan& plan, const PanelView& view,
                const ShownUnits& units) {
  constexpr double heading_mm = 4.3, least_map_mm = 40, words_mm = 16;
  Column column(canvas, box, heading_mm, units);
  if (plan.dents.size() > 1) {
    if (box.height_mm < least_map_mm + 2 * heading_mm) return;
    column.heading("Where they lie, the card's corner at the lower left");
    draw_map(canvas, {box.x_mm, column.y_mm() + 2, box.width_mm, box.bottom_mm() - column.y_mm() - 4}, plan,
             view);
    return;
  }
  const DentPlan& spot = plan.dents.front();
  const auto height_mm =
      true_size_height_mm(spot, {0, 0, box.width_mm, box.height_mm - 2 * heading_mm - words_mm});
  if (!height_mm) return;
  column.heading(std::string("True size: the spot") +
                 (spot.tab && spot.tab->tab ? ", the tab (dashed)" : "") +
                 (spot.pull_places.size() > 1 ? ", the places of the pulls" : ", the deepest point (cross)"));
  draw_true_size(canvas, {box.x_mm, column.y_mm(), box.width_mm, *height_mm}, spot, view);
  Column words(canvas, {box.x_mm, column.y_mm() + *height_mm + 1, box.width_mm, 0}, least_font_mm, units);
  words.quiet(true_size_words(spot));
}

}  // namespace

double draw_head(Canvas& canvas, const PageBox& box, const Plan& plan) {
  Column head(canvas, box, least_font_mm, {});  // no lengths: a photo's name stays as it is
  head.text("Plan: " + file_name(plan.photo), {5.0, true, black});
  const auto said = [](const std::string& word) {
    return word == "not sure" ? std::string("not sure (ask)") : word;
  };
  head.quiet("metal " + said(spoken(plan.facts.material)) + ", paint " + said(spoken(plan.facts.paint)) +
             ", coating " + said(spoken(plan.facts.coating)) + ", place " + said(spoken(plan.facts.place)) +
             ", kit: " + (plan.kit.empty() ? "none given" : plan.kit));
  head.skip(1);
  canvas.line({{box.x_mm, head.y_mm()}, {box.right_mm(), head.y_mm()}}, {mid_grey, 0.3, 0});
  return head.y_mm() + 2;
}

std::string plan_sheet_pdf(const Plan& plan, Paper paper, const PanelView& view, const ShownUnits& units) {
  const PaperSize size = size_of(paper);
  const PageBox page{margin_mm, margin_mm, size.width_mm - 2 * margin_mm, size.height_mm - 2 * margin_mm};
  Canvas canvas(size.width_mm, size.height_mm, "Plan");
  const double top_mm = draw_head(canvas, page, plan);
  if (!plan.nothing_to_do.empty()) {
    canvas.paragraph({page.x_mm, top_mm + 5}, page.width_mm, in_units(plan.nothing_to_do, units),
                     {4.0, false, black});
    return canvas.finish();
  }
  const PageBox lines{page.x_mm, top_mm + 2, page.width_mm, 0};
  double font_mm = 0;
  for (const double candidate_mm : brief_fonts_mm) {
    Canvas scratch(size.width_mm, size.height_mm, "");
    font_mm = candidate_mm;
    if (draw_brief(scratch, lines, page.bottom_mm(), plan, font_mm, units) <= page.bottom_mm()) break;
  }
  const double end_mm = draw_brief(canvas, lines, page.bottom_mm(), plan, font_mm, units) + 2;
  draw_below(canvas, {page.x_mm, end_mm, page.width_mm, page.bottom_mm() - end_mm}, plan, view, units);
  canvas.next_page();
  draw_step_pages(canvas, page, plan, view, units);
  return canvas.finish();
}

}  // namespace ripplegauge
