// The page with the scale card: tags, cutting line, check bar, and how to use it.
#include <algorithm>

#include "ripplegauge/core/errors.hpp"
#include "sheet/sheet.hpp"
#include "sheet_parts.hpp"

namespace ripplegauge {
namespace {

constexpr double margin_mm = 15;
constexpr double content_width_mm = 180;  ///< what A4 leaves between the margins

RectangleMm bounds_of(const CardDefinition& card) {
  RectangleMm bounds = card.paper.at(0);
  for (const RectangleMm& part : card.paper) {
    bounds.x0_mm = std::min(bounds.x0_mm, part.x0_mm);
    bounds.y0_mm = std::min(bounds.y0_mm, part.y0_mm);
    bounds.x1_mm = std::max(bounds.x1_mm, part.x1_mm);
    bounds.y1_mm = std::max(bounds.y1_mm, part.y1_mm);
  }
  return bounds;
}

/// The card with the top left corner of its bounds at `at`.
void draw_card(Canvas& canvas, const CardDefinition& card, PagePoint at) {
  const RectangleMm bounds = bounds_of(card);
  const auto page = [&](double x_mm, double y_mm) {
    return PagePoint{at.x_mm + x_mm - bounds.x0_mm, at.y_mm + bounds.y1_mm - y_mm};
  };
  std::vector<PageBox> paper;
  for (const RectangleMm& part : card.paper) {
    const PagePoint corner = page(part.x0_mm, part.y1_mm);
    paper.push_back({corner.x_mm, corner.y_mm, part.x1_mm - part.x0_mm, part.y1_mm - part.y0_mm});
  }
  // Filling the parts leaves the outer half of the line, round the union alone: cut off, it leaves the card
  // white.
  for (const PageBox& part : paper) canvas.outline(part, {.colour = mid_grey, .width_mm = 0.6});
  canvas.fill(paper, white);
  for (const CardTag& tag : card.tags)
    draw_tag(canvas, tag.id, page(tag.x_mm, tag.y_mm), card.tag_side_mm, false);
}

}  // namespace

PaperSize size_of(Paper paper) {
  switch (paper) {
    case Paper::a4:
      return {210, 297};
    case Paper::letter:
      return {215.9, 279.4};
    case Paper::a3:
      return {297, 420};
  }
  return {};
}

std::string card_sheet_pdf(const CardDefinition& card, Paper paper) {
  constexpr double title_mm = 12, below_card_mm = 112;  // bar, drawing and steps
  const PaperSize size = size_of(paper);
  const RectangleMm bounds = bounds_of(card);
  const double card_width_mm = bounds.x1_mm - bounds.x0_mm, card_height_mm = bounds.y1_mm - bounds.y0_mm;
  if (card_width_mm > size.width_mm - 2 * margin_mm ||
      card_height_mm > size.height_mm - 2 * margin_mm - title_mm - below_card_mm) {
    throw UsageError("the card \"" + card.name + "\" is " + length_text(card_width_mm) + " x " +
                     length_text(card_height_mm) + " mm and does not fit this paper; choose a larger one");
  }

  Canvas canvas(size.width_mm, size.height_mm, "Scale card: " + card.name);
  const double left_mm = 0.5 * (size.width_mm - content_width_mm);
  canvas.text({left_mm, margin_mm + 5}, "Scale card", {.size_mm = 6.5, .bold = true});
  canvas.text({left_mm + content_width_mm, margin_mm + 5},
              card.name + " \u00b7 print at 100 %, not \u201cfit to page\u201d",
              {.size_mm = 3.4, .colour = dark_grey}, Align::right);

  double y_mm = margin_mm + title_mm;
  draw_card(canvas, card, {left_mm, y_mm});
  y_mm += card_height_mm + 8;
  draw_check_bar(canvas, {left_mm, y_mm}, card.bar_nominal_mm);

  y_mm += 13;
  constexpr double steps_height_mm = 34, gap_mm = 8;
  const double drawing_height_mm = std::min(size.height_mm - margin_mm - steps_height_mm - y_mm, 66.0);
  const double side_view_mm = 1.7 * drawing_height_mm;
  draw_setup(canvas, {left_mm, y_mm, side_view_mm, drawing_height_mm}, taught_setups().front());
  draw_screen_view(canvas, {left_mm + side_view_mm + gap_mm, y_mm + 1,
                            content_width_mm - side_view_mm - gap_mm, drawing_height_mm - 9});

  y_mm += drawing_height_mm + 6;
  constexpr double column_mm = 86, step_font_mm = 3.2;
  draw_steps(
      canvas, {left_mm, y_mm}, column_mm,
      {"Cut the card out along the grey line. Keep it flat and clean.",
       "Measure the check bar to 0.2 mm with a steel rule: printers scale. Give its length with every photo.",
       "Lay the card flat on the panel, close beside the dent, not over it. On a door: low-tack tape along "
       "its outer edges."},
      step_font_mm);
  draw_steps(
      canvas, {left_mm + content_width_mm - column_mm, y_mm}, column_mm,
      {"Let the board lean over, facing the dent, so that its stripes surround the dent in the reflection.",
       "Hold the phone as drawn, its long side along the stripes. No tape is needed.",
       "Tap on the card to focus, hold still, take one photo with card and dent."},
      step_font_mm, 4);
  return canvas.finish();
}

}  // namespace ripplegauge
