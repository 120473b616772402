// A page of tags to cut out and stick onto a board of one's own.
#include <cmath>

#include "ripplegauge/core/errors.hpp"
#include "sheet/sheet.hpp"
#include "sheet_parts.hpp"

namespace ripplegauge {
namespace {

constexpr double margin_mm = 15, title_mm = 14, below_mm = 58;  ///< bar and steps
constexpr double caption_mm = 6, gap_mm = 6;
constexpr int last_id = 586;  ///< of family 36h11

struct TagGrid {
  double sticker_mm = 0, pitch_x_mm = 0, pitch_y_mm = 0;
  int columns = 0, rows = 0;
};

/// A sticker is the tag and its white surround: one of its eight cells, as the family asks for.
TagGrid grid_for(const TagSheetOptions& options) {
  const PaperSize size = size_of(options.paper);
  TagGrid grid;
  grid.sticker_mm = 1.25 * options.side_mm;
  grid.pitch_x_mm = grid.sticker_mm + gap_mm;
  grid.pitch_y_mm = grid.sticker_mm + caption_mm + gap_mm;
  grid.columns = static_cast<int>((size.width_mm - 2 * margin_mm + gap_mm) / grid.pitch_x_mm);
  grid.rows = static_cast<int>((size.height_mm - 2 * margin_mm - title_mm - below_mm) / grid.pitch_y_mm);
  return grid;
}

/// Marks at the corners alone: a frame round a tag is itself taken for one when its rest stays on the
/// sticker.
void draw_cutting_marks(Canvas& canvas, const PageBox& box) {
  constexpr double mark_mm = 2.5;
  for (const double x_mm : {box.x_mm, box.right_mm()})
    for (const double y_mm : {box.y_mm, box.bottom_mm()}) {
      const double right = x_mm == box.x_mm ? -mark_mm : mark_mm,
                   down = y_mm == box.y_mm ? -mark_mm : mark_mm;
      canvas.line({{x_mm + right, y_mm}, {x_mm, y_mm}, {x_mm, y_mm + down}},
                  {.colour = dark_grey, .width_mm = 0.25});
    }
}

}  // namespace

void TagSheetOptions::validate() const {
  constexpr double smallest_mm = 15;  // smaller ones are not read at a board's distance
  if (!(side_mm >= smallest_mm && side_mm < 1000))
    throw UsageError("a tag's side must be at least " + length_text(smallest_mm) + " mm");
  if (count < 1 || first_id < 0 || first_id > last_id || count > last_id + 1 - first_id)
    throw UsageError("tags have numbers from 0 to " + std::to_string(last_id));
  const TagGrid grid = grid_for(*this);
  if (count > grid.columns * grid.rows)
    throw UsageError(std::to_string(count) + " tags of " + length_text(side_mm) +
                     " mm do not fit this paper; choose fewer, smaller ones or a larger paper");
}

std::string tag_sheet_pdf(const TagSheetOptions& options) {
  options.validate();
  const PaperSize size = size_of(options.paper);
  const TagGrid grid = grid_for(options);
  Canvas canvas(size.width_mm, size.height_mm, "Tags for a board");
  canvas.text({margin_mm, margin_mm + 5}, "Tags for a board", {.size_mm = 6.5, .bold = true});
  canvas.text({size.width_mm - margin_mm, margin_mm + 5},
              "mirrored on purpose \u00b7 print at 100 %, not \u201cfit to page\u201d",
              {.size_mm = 3.4, .colour = dark_grey}, Align::right);
  for (int i = 0; i < options.count; ++i) {
    const int column = i % grid.columns, row = i / grid.columns;
    const PageBox sticker{margin_mm + column * grid.pitch_x_mm, margin_mm + title_mm + row * grid.pitch_y_mm,
                          grid.sticker_mm, grid.sticker_mm};
    draw_cutting_marks(canvas, sticker);
    draw_tag(canvas, options.first_id + i,
             {sticker.x_mm + 0.5 * grid.sticker_mm, sticker.y_mm + 0.5 * grid.sticker_mm}, options.side_mm,
             true);
    canvas.text({sticker.x_mm + 2, sticker.bottom_mm() + 4},
                "tag " + std::to_string(options.first_id + i) + ", top \u2191",
                {.size_mm = 3.2, .colour = dark_grey});
  }
  const int rows = (options.count + grid.columns - 1) / grid.columns;
  const double y_mm = margin_mm + title_mm + rows * grid.pitch_y_mm + 4;
  draw_check_bar(canvas, {margin_mm, y_mm}, 100);
  draw_steps(canvas, {margin_mm, y_mm + 12}, size.width_mm - 2 * margin_mm,
             {"Cut the tags out from mark to mark, their white surround with them.",
              "Stick them flat onto the board, tops up, edges along the stripes: two at least, best one in "
              "each corner.",
              "Measure each black square\u2019s side, and where its middle is from the board\u2019s middle: "
              "right along the stripes, up, as you face the print.",
              "Describe them" + (options.how_to_describe.empty() ? "." : ": " + options.how_to_describe)},
             3.4);
  return canvas.finish();
}

}  // namespace ripplegauge
