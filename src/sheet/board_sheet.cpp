#include <algorithm>
#include <cmath>

#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/sheet/sheet.hpp"
#include "sheet_parts.hpp"

namespace ripplegauge {
namespace {

constexpr double margin_mm = 10;  ///< more than any printer leaves white
constexpr double label_mm = 11;   ///< the strip below the stripes: check bar and pitch
constexpr double bar_mm = 100;

struct BoardLayout {
  double page_width_mm = 0, page_height_mm = 0;  ///< the paper lies on its side: stripes run its long way
  PageBox stripes;
  double tag_side_mm = 0;

  PagePoint page(double x_mm, double y_mm) const {  // from the board frame
    return {stripes.x_mm + 0.5 * stripes.width_mm + x_mm, stripes.y_mm + 0.5 * stripes.height_mm - y_mm};
  }
};

PageBox stripe_room(PaperSize size) {
  return {margin_mm, margin_mm, size.height_mm - 2 * margin_mm, size.width_mm - 2 * margin_mm - label_mm};
}

BoardLayout layout_of(const BoardSheetOptions& options) {
  const PaperSize size = size_of(options.paper);
  BoardLayout layout;
  layout.page_width_mm = size.height_mm;
  layout.page_height_mm = size.width_mm;
  layout.stripes = stripe_room(size);
  // Whole stripes alone: a sliver at the edge looks like a fault.
  layout.stripes.height_mm = options.pitch_mm * std::floor(layout.stripes.height_mm / options.pitch_mm);
  layout.stripes.y_mm = 0.5 * (size.width_mm - layout.stripes.height_mm - label_mm);
  layout.tag_side_mm = options.paper == Paper::a3 ? 40 : 30;
  return layout;
}

/// The tag's white surround: one of its eight cells, as the family asks for.
double quiet_mm(double tag_side_mm) { return tag_side_mm / 8; }

std::vector<BoardTag> tags_of(const BoardLayout& layout) {
  // Apart from the numbers of the card. Whole millimetres read better in the board file.
  constexpr int first_id = 40;
  const double inset_mm = 0.5 * layout.tag_side_mm + quiet_mm(layout.tag_side_mm);
  const double x_mm = std::floor(0.5 * layout.stripes.width_mm - inset_mm);
  const double y_mm = std::floor(0.5 * layout.stripes.height_mm - inset_mm);
  std::vector<BoardTag> tags;
  for (const double x : {-x_mm, x_mm})
    for (const double y : {-y_mm, 0.0, y_mm})
      tags.push_back({first_id + static_cast<int>(tags.size()), x, y, layout.tag_side_mm});
  return tags;
}

/// The white round a tag: out to the next edge of a stripe above and below, and to the board's own side.
PageBox surround_of(const BoardLayout& layout, const BoardTag& tag, double pitch_mm) {
  const double half_mm = 0.5 * tag.side_mm + quiet_mm(tag.side_mm), stripe_mm = 0.5 * pitch_mm;
  const double low_mm = stripe_mm * std::floor((tag.y_mm - half_mm) / stripe_mm);
  const double high_mm = stripe_mm * std::ceil((tag.y_mm + half_mm) / stripe_mm);
  const double side_mm = std::copysign(0.5 * layout.stripes.width_mm, tag.x_mm);
  const double inner_mm = tag.x_mm - std::copysign(half_mm, tag.x_mm);
  const PagePoint corner = layout.page(std::min(side_mm, inner_mm), high_mm);
  return {corner.x_mm, corner.y_mm, std::abs(side_mm - inner_mm), high_mm - low_mm};
}

/// A dark stripe begins at the board's middle and goes up. Stripes stop at the white round a tag, rather than
/// being painted over: a viewer would leave a hairline at the edge of what is painted over.
void draw_stripes(Canvas& canvas, const BoardLayout& layout, double pitch_mm,
                  const std::vector<BoardTag>& tags) {
  const double half_height_mm = 0.5 * layout.stripes.height_mm, stripe_mm = 0.5 * pitch_mm;
  std::vector<PageBox> dark;
  for (double low_mm = -pitch_mm * std::ceil(half_height_mm / pitch_mm); low_mm < half_height_mm;
       low_mm += pitch_mm) {
    if (low_mm + 0.5 * stripe_mm < -half_height_mm) continue;
    const PagePoint corner = layout.page(-0.5 * layout.stripes.width_mm, low_mm + stripe_mm);
    double left_mm = corner.x_mm, right_mm = layout.stripes.right_mm();
    for (const BoardTag& tag : tags) {
      const PageBox surround = surround_of(layout, tag, pitch_mm);
      const double middle_mm = corner.y_mm + 0.5 * stripe_mm;
      if (middle_mm < surround.y_mm || middle_mm > surround.bottom_mm()) continue;
      if (tag.x_mm < 0)
        left_mm = surround.right_mm();
      else
        right_mm = surround.x_mm;
    }
    dark.push_back({left_mm, corner.y_mm, right_mm - left_mm, stripe_mm});
  }
  canvas.fill(dark, black);
}

void draw_label(Canvas& canvas, const BoardLayout& layout, double pitch_mm) {
  const double y_mm = layout.stripes.bottom_mm() + 4.2;
  draw_check_bar(canvas, {layout.stripes.x_mm + 5, y_mm}, bar_mm);
  canvas.text({layout.stripes.right_mm() - 5, y_mm + 2.7}, "pitch " + length_text(pitch_mm) + " mm",
              {.size_mm = 3.6, .bold = true}, Align::right);
  canvas.outline({layout.stripes.x_mm, layout.stripes.y_mm, layout.stripes.width_mm,
                  layout.stripes.height_mm + label_mm},
                 {.colour = mid_grey, .width_mm = 0.25});
}

std::vector<std::string> steps_of(const BoardSheetOptions& options) {
  const std::string pitch = length_text(options.pitch_mm);
  std::vector<std::string> steps = {
      {"Print at 100 %, not \u201cfit to page\u201d, on matt paper. Cut along the grey line; glue the sheet "
       "to a "
       "flat, stiff board, no waves."},
      "Measure the check bar. If it is not 100 mm, the pitch is " + pitch + "\u00a0mm \u00d7 bar \u00f7 100.",
      "Lay the scale card flat beside the dent, its inner corner towards it.",
      {"Stand the board upright, stripes level, well lit. A good start, as drawn: 17 cm behind the dent, its "
       "middle 25 cm "
       "above the panel. For a crease, turn the board so that the stripes run along it."},
      {"Hold the phone lying, long side level, lens 20 cm before the dent and 29 cm above the panel. Move it "
       "until the "
       "reflected stripes surround the dent. 20\u201370 cm away and 16\u201350\u00b0 off square will do."},
  };
  steps.push_back(options.tags
                      ? "Keep two of the board\u2019s tags or more in the reflection: they tell its "
                        "distance, so no tape is "
                        "needed. They are printed mirrored on purpose."
                      : "Tape from the dent to the stripes that you see in it: that is the board distance, "
                        "15\u201340 cm.");
  steps.push_back(
      "No flash, no lamp in the reflection. Tap on the card to focus, rest your elbows, take one photo.");
  return steps;
}

/// On a page of A4 or Letter on its side, `page_width_mm` wide.
void draw_instructions(Canvas& canvas, double page_width_mm, const BoardSheetOptions& options) {
  constexpr double left_mm = 20, top_mm = 34, gap_mm = 12;
  const double column_mm = 0.5 * (page_width_mm - 2 * left_mm - gap_mm),
               right_mm = left_mm + column_mm + gap_mm;
  canvas.text({left_mm, 24}, "Setting up the striped board", {.size_mm = 6.5, .bold = true});

  const double side_view_mm = 0.62 * column_mm;
  draw_side_view(canvas, {left_mm, top_mm, column_mm, side_view_mm}, !options.tags);
  const PageBox screen{left_mm, top_mm + side_view_mm + 12, 0.7 * column_mm, 0.5 * column_mm};
  draw_screen_view(canvas, screen);
  canvas.paragraph({screen.right_mm() + 4, screen.y_mm}, left_mm + column_mm - screen.right_mm() - 4,
                   "What the screen should show.", {.size_mm = 3.2, .colour = dark_grey});

  const double y_mm = draw_steps(canvas, {right_mm, top_mm}, column_mm, steps_of(options), 3.9);
  canvas.paragraph({right_mm, y_mm + 4}, column_mm, options.how_to_measure,
                   {.size_mm = 3.4, .colour = dark_grey});
}

}  // namespace

void BoardSheetOptions::validate() const {
  const double largest_mm = std::floor(stripe_room(size_of(paper)).height_mm / min_periods);
  if (!(pitch_mm >= min_pitch_mm && pitch_mm <= largest_mm)) {
    throw UsageError("a pitch of " + length_text(pitch_mm) +
                     " mm does not suit this paper; choose one from " + length_text(min_pitch_mm) + " to " +
                     length_text(largest_mm) + " mm");
  }
}

std::string board_sheet_pdf(const BoardSheetOptions& options) {
  options.validate();
  const BoardLayout layout = layout_of(options);
  Canvas canvas(layout.page_width_mm, layout.page_height_mm,
                "Striped board, pitch " + length_text(options.pitch_mm) + " mm");
  const std::vector<BoardTag> tags = options.tags ? tags_of(layout) : std::vector<BoardTag>{};
  draw_stripes(canvas, layout, options.pitch_mm, tags);
  for (const BoardTag& tag : tags)
    draw_tag(canvas, tag.id, layout.page(tag.x_mm, tag.y_mm), tag.side_mm, true);
  draw_label(canvas, layout, options.pitch_mm);
  canvas.next_page();
  // A3 is A4 enlarged (ISO 216).
  const double enlargement =
      options.paper == Paper::a3 ? layout.page_width_mm / size_of(Paper::a4).height_mm : 1;
  canvas.enlarged(enlargement,
                  [&] { draw_instructions(canvas, layout.page_width_mm / enlargement, options); });
  return canvas.finish();
}

BoardDefinition board_of_sheet(const BoardSheetOptions& options, double bar_length_mm) {
  options.validate();
  // No printer is off by a third; such a number is a slip, or inches.
  if (!(bar_length_mm > 0.7 * bar_mm && bar_length_mm < 1.4 * bar_mm))
    throw UsageError("the check bar's length cannot be " + length_text(bar_length_mm) +
                     " mm; give what a rule shows, in mm");
  const double scale = bar_length_mm / bar_mm;
  BoardDefinition board;
  board.name = "printed board, pitch " + length_text(options.pitch_mm * scale) + " mm";
  board.pitch_mm = options.pitch_mm * scale;
  board.printed_mirrored = options.tags;
  if (options.tags) board.tags = tags_of(layout_of(options));
  for (BoardTag& tag : board.tags) {
    tag.x_mm *= scale;
    tag.y_mm *= scale;
    tag.side_mm *= scale;
  }
  return board;
}

}  // namespace ripplegauge
