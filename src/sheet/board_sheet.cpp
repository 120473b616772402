// The striped board to print, on one sheet or on several that are glued together, and how to set it up.
#include <algorithm>
#include <cmath>

#include "ripplegauge/core/errors.hpp"
#include "sheet/sheet.hpp"
#include "sheet_parts.hpp"

namespace ripplegauge {
namespace {

constexpr double margin_mm = 10;  ///< more than any printer leaves white
constexpr double label_mm = 11;   ///< the strip below the stripes: check bar and pitch
constexpr double bar_mm = 100;
/// Stripes go on below the next sheet, so that a gap shows no white.
constexpr double glue_mm = 10;

/// The whole board in its own frame, cut into sheets of one size.
struct BoardLayout {
  double page_width_mm = 0, page_height_mm = 0;  ///< the paper lies on its side: stripes run its long way
  PageBox cell;                                  ///< what one sheet adds to the board, where it is printed
  int across = 1, down = 1;
  double tag_side_mm = 0;

  double width_mm() const { return across * cell.width_mm; }
  double height_mm() const { return down * cell.height_mm; }

  /// Where the board's point is on the page of the sheet in this column and row, counted from the top left.
  PagePoint page(double x_mm, double y_mm, int column, int row) const {
    return {cell.x_mm + 0.5 * width_mm() + x_mm - column * cell.width_mm,
            cell.y_mm + 0.5 * height_mm() - y_mm - row * cell.height_mm};
  }
  /// What is printed of the board on that sheet: its cell and what lies below the next sheets.
  PageBox window(int column, int row) const {
    return {cell.x_mm, cell.y_mm, cell.width_mm + (column + 1 < across ? glue_mm : 0),
            cell.height_mm + (row + 1 < down ? glue_mm : 0)};
  }
};

PageBox stripe_room(const BoardSheetOptions& options) {
  const PaperSize size = size_of(options.paper);
  return {margin_mm, margin_mm, size.height_mm - 2 * margin_mm - (options.tiles_across > 1 ? glue_mm : 0),
          size.width_mm - 2 * margin_mm - label_mm - (options.tiles_down > 1 ? glue_mm : 0)};
}

BoardLayout layout_of(const BoardSheetOptions& options) {
  const PaperSize size = size_of(options.paper);
  BoardLayout layout;
  layout.page_width_mm = size.height_mm;
  layout.page_height_mm = size.width_mm;
  layout.across = options.tiles_across;
  layout.down = options.tiles_down;
  layout.cell = stripe_room(options);
  // Whole stripes alone: a sliver at the edge looks like a fault.
  layout.cell.height_mm = options.pitch_mm * std::floor(layout.cell.height_mm / options.pitch_mm);
  layout.cell.y_mm =
      0.5 * (size.width_mm - layout.cell.height_mm - label_mm - (options.tiles_down > 1 ? glue_mm : 0));
  layout.tag_side_mm = options.paper == Paper::a3 ? 40 : 30;
  return layout;
}

/// The tag's white surround: one of its eight cells, as the family asks for.
double quiet_mm(double tag_side_mm) { return tag_side_mm / 8; }

/// Round the board, none across a seam: at both ends of the stripes, and above and below where the board is
/// so wide that a photo may show neither end.
std::vector<BoardTag> tags_of(const BoardLayout& layout) {
  // Apart from the numbers of the card. Whole millimetres read better in the board file.
  constexpr int first_id = 40;
  const double inset_mm = 0.5 * layout.tag_side_mm + quiet_mm(layout.tag_side_mm);
  const double x_mm = std::floor(0.5 * layout.width_mm() - inset_mm);
  const double half_cell_mm = std::floor(0.5 * layout.cell.height_mm - inset_mm);
  std::vector<double> heights_mm;
  for (int row = layout.down - 1; row >= 0; --row) {  // from the bottom
    const double middle_mm = (0.5 * (layout.down - 1) - row) * layout.cell.height_mm;
    heights_mm.push_back(middle_mm - half_cell_mm);
    if (layout.down == 1) heights_mm.push_back(middle_mm);
    heights_mm.push_back(middle_mm + half_cell_mm);
  }
  std::vector<BoardTag> tags;
  const auto add = [&](double at_x_mm, double at_y_mm) {
    tags.push_back({first_id + static_cast<int>(tags.size()), at_x_mm, at_y_mm, layout.tag_side_mm});
  };
  for (const double x : {-x_mm, x_mm})
    for (const double y : heights_mm) add(x, y);
  for (int column = 1; column + 1 < layout.across; ++column)
    for (const double y : {heights_mm.front(), heights_mm.back()})
      add((column - 0.5 * (layout.across - 1)) * layout.cell.width_mm, y);
  return tags;
}

/// In the board's frame, y upwards.
struct BoardBox {
  double left_mm = 0, right_mm = 0, low_mm = 0, high_mm = 0;
};

/// The white round a tag: out to the next edge of a stripe above and below, and to the board's own side.
BoardBox surround_of(const BoardLayout& layout, const BoardTag& tag, double pitch_mm) {
  const double half_mm = 0.5 * tag.side_mm + quiet_mm(tag.side_mm), stripe_mm = 0.5 * pitch_mm;
  BoardBox box{tag.x_mm - half_mm, tag.x_mm + half_mm,
               stripe_mm * std::floor((tag.y_mm - half_mm) / stripe_mm),
               stripe_mm * std::ceil((tag.y_mm + half_mm) / stripe_mm)};
  const double side_mm = 0.5 * layout.width_mm();
  if (box.left_mm < 1 - side_mm) box.left_mm = -side_mm;
  if (box.right_mm > side_mm - 1) box.right_mm = side_mm;
  return box;
}

/// A dark stripe begins at the board's middle and goes up. Stripes stop at the white round a tag, rather than
/// being painted over: a viewer would leave a hairline at the edge of what is painted over.
std::vector<BoardBox> dark_stripes(const BoardLayout& layout, double pitch_mm,
                                   const std::vector<BoardTag>& tags) {
  const double half_width_mm = 0.5 * layout.width_mm(), half_height_mm = 0.5 * layout.height_mm(),
               stripe_mm = 0.5 * pitch_mm;
  std::vector<BoardBox> surrounds;
  for (const BoardTag& tag : tags) surrounds.push_back(surround_of(layout, tag, pitch_mm));
  std::sort(surrounds.begin(), surrounds.end(),
            [](const BoardBox& a, const BoardBox& b) { return a.left_mm < b.left_mm; });
  std::vector<BoardBox> dark;
  for (double low_mm = -pitch_mm * std::ceil(half_height_mm / pitch_mm); low_mm < half_height_mm;
       low_mm += pitch_mm) {
    const double middle_mm = low_mm + 0.5 * stripe_mm;
    if (middle_mm < -half_height_mm) continue;
    double from_mm = -half_width_mm;
    for (const BoardBox& surround : surrounds) {
      if (middle_mm < surround.low_mm || middle_mm > surround.high_mm) continue;
      if (surround.left_mm > from_mm) dark.push_back({from_mm, surround.left_mm, low_mm, low_mm + stripe_mm});
      from_mm = std::max(from_mm, surround.right_mm);
    }
    if (from_mm < half_width_mm) dark.push_back({from_mm, half_width_mm, low_mm, low_mm + stripe_mm});
  }
  return dark;
}

void draw_label(Canvas& canvas, const BoardLayout& layout, double pitch_mm, int column, int row) {
  const PageBox window = layout.window(column, row);
  const double y_mm = window.bottom_mm() + 4.2;
  draw_check_bar(canvas, {window.x_mm + 5, y_mm}, bar_mm);
  std::string words = "pitch " + length_text(pitch_mm) + " mm";
  if (layout.across * layout.down > 1)
    words = "sheet " + std::to_string(row * layout.across + column + 1) + " of " +
            std::to_string(layout.across * layout.down) + "   " + words;
  canvas.text({window.right_mm() - 5, y_mm + 2.7}, words, {.size_mm = 3.6, .bold = true}, Align::right);
  canvas.outline({window.x_mm, window.y_mm, window.width_mm, window.height_mm + label_mm},
                 {.colour = mid_grey, .width_mm = 0.25});
}

/// Where a sheet's upper or left edge is cut before it is glued onto its neighbour, and where that edge then
/// lies: marks beside the stripes, so that nothing of them shows on the board.
void draw_seam_marks(Canvas& canvas, const BoardLayout& layout, int column, int row) {
  constexpr double gap_mm = 0.8, mark_mm = 5;
  const PageBox window = layout.window(column, row);
  const Pen pen{.colour = accent, .width_mm = 0.25};
  const Font words{.size_mm = 2.8, .colour = accent};
  const auto upright = [&](double x_mm) {
    canvas.line({{x_mm, window.y_mm - gap_mm - mark_mm}, {x_mm, window.y_mm - gap_mm}}, pen);
    canvas.line({{x_mm, window.bottom_mm() + gap_mm}, {x_mm, window.bottom_mm() + 3.4}}, pen);
  };
  const auto level = [&](double y_mm) {
    canvas.line({{window.x_mm - gap_mm - mark_mm, y_mm}, {window.x_mm - gap_mm, y_mm}}, pen);
    canvas.line({{window.right_mm() + gap_mm, y_mm}, {window.right_mm() + gap_mm + mark_mm, y_mm}}, pen);
  };
  const double middle_y_mm = window.y_mm + 0.5 * window.height_mm,
               middle_x_mm = window.x_mm + 0.5 * window.width_mm;
  if (column > 0) {
    upright(window.x_mm);
    canvas.turned_text({window.x_mm - 2, middle_y_mm}, -90, "cut along this grey line", words);
  }
  if (row > 0) {
    level(window.y_mm);
    canvas.text({middle_x_mm, window.y_mm - 2}, "cut along this grey line", words, Align::centre);
  }
  const int number = row * layout.across + column + 1;
  if (column + 1 < layout.across) {
    upright(layout.cell.right_mm());
    canvas.turned_text(
        {window.right_mm() + 3.5, middle_y_mm}, -90,
        "glue sheet " + std::to_string(number + 1) + " onto this side, its cut edge on the marks", words);
  }
  if (row + 1 < layout.down) {
    level(layout.cell.bottom_mm());
    canvas.text({middle_x_mm, window.bottom_mm() + 2.8},
                "glue sheet " + std::to_string(number + layout.across) +
                    " over this strip, its cut edge on the marks at both sides",
                words, Align::centre);
  }
}

void draw_sheet(Canvas& canvas, const BoardLayout& layout, const std::vector<BoardBox>& dark,
                const std::vector<BoardTag>& tags, int column, int row) {
  canvas.clipped(layout.window(column, row), [&] {
    std::vector<PageBox> boxes;
    for (const BoardBox& box : dark) {
      const PagePoint corner = layout.page(box.left_mm, box.high_mm, column, row);
      boxes.push_back({corner.x_mm, corner.y_mm, box.right_mm - box.left_mm, box.high_mm - box.low_mm});
    }
    canvas.fill(boxes, black);
    for (const BoardTag& tag : tags)
      draw_tag(canvas, tag.id, layout.page(tag.x_mm, tag.y_mm, column, row), tag.side_mm, true);
  });
}

std::vector<std::string> steps_of(const BoardSheetOptions& options) {
  const std::string pitch = length_text(options.pitch_mm), ten = length_text(10 * options.pitch_mm);
  const bool tiled = options.tiles_across * options.tiles_down > 1;
  std::vector<std::string> steps;
  if (tiled)
    steps.push_back(
        "Print all sheets at 100 %, not \u201cfit to page\u201d, on matt paper. Cut where a sheet says so, "
        "glue its cut "
        "edge onto the marks of its neighbour, then the whole onto a flat, stiff board. Ten pitches across a "
        "seam must be " +
        ten + "\u00a0mm.");
  else
    steps.push_back(
        "Print at 100 %, not \u201cfit to page\u201d, on matt paper. Cut along the grey line; glue the sheet "
        "to a flat, "
        "stiff board, no waves.");
  steps.insert(
      steps.end(),
      {"Measure the check bar. If it is not 100 mm, the pitch is " + pitch +
           "\u00a0mm \u00d7 bar \u00f7 100.",
       "Card: flat on the panel, inner corner towards the dent. On a door fix its outer edges with low-tack "
       "tape, "
       "or with a magnet over a cloth: magnets hold on steel only.",
       "Board: on a stand, its top leaning over towards the dent (upright shows a third less); on a door "
       "turned to "
       "face the dent, stripes upright. Cloth or foam under every edge. A suction foot wants clean, sound "
       "paint or glass.",
       "Phone: long side along the stripes, placed as drawn. Move it until the reflected stripes surround "
       "the "
       "dent: 200\u2013700 mm away, 16\u201350\u00b0 from straight on will do. For a crease turn board and "
       "phone "
       "so that the "
       "stripes run along it.",
       options.tags
           ? "No tape is needed: keep two of the board\u2019s tags or more in the reflection. They are "
             "printed "
             "mirrored on purpose."
           : "No tape is needed. Taped from the dent to the stripes that you see in it, in mm, it narrows "
             "the intervals.",
       "Alone: let card and board hold by themselves, both hands on the phone, elbows rested. No flash, no "
       "lamp in "
       "the reflection. Tap on the card to focus; one photo."});
  return steps;
}

/// On a page of A4 or Letter on its side, `page_width_mm` wide.
void draw_instructions(Canvas& canvas, double page_width_mm, const BoardSheetOptions& options) {
  constexpr double left_mm = 15, top_mm = 36, gap_mm = 6, drawing_mm = 62, step_font_mm = 3.3;
  const std::vector<TaughtSetup> setups = taught_setups();
  const auto count = static_cast<double>(setups.size());
  const double column_mm = (page_width_mm - 2 * left_mm - (count - 1) * gap_mm) / count;
  const auto column_at = [&](std::size_t i) {
    return left_mm + static_cast<double>(i) * (column_mm + gap_mm);
  };
  canvas.text({left_mm, 22}, "Setting up the striped board", {.size_mm = 6.5, .bold = true});
  for (std::size_t i = 0; i < setups.size(); ++i) {
    canvas.text({column_at(i), top_mm - 4}, setups[i].panel, {.size_mm = 4, .bold = true});
    canvas.text({column_at(i) + column_mm, top_mm - 4},
                setups[i].upright_panel ? "from above" : "from the side",
                {.size_mm = 3.2, .colour = dark_grey}, Align::right);
    draw_setup(canvas, {column_at(i), top_mm, column_mm, drawing_mm}, setups[i]);
    canvas.paragraph({column_at(i), top_mm + drawing_mm + 2}, column_mm, setups[i].note,
                     {.size_mm = 3.2, .colour = dark_grey});
  }

  const double below_mm = top_mm + drawing_mm + 19;
  const std::vector<std::string> steps = steps_of(options);
  constexpr std::size_t in_first_column = 4;
  const auto middle = steps.begin() + in_first_column;
  draw_steps(canvas, {column_at(0), below_mm}, column_mm, {steps.begin(), middle}, step_font_mm);
  draw_steps(canvas, {column_at(1), below_mm}, column_mm, {middle, steps.end()}, step_font_mm,
             static_cast<int>(in_first_column) + 1);

  const PageBox screen{column_at(2), below_mm + 2, column_mm, 0.62 * column_mm};
  draw_screen_view(canvas, screen);
  const double y_mm =
      canvas.paragraph({screen.x_mm, screen.bottom_mm() + 2}, column_mm,
                       "What the screen should show: card whole and sharp, stripes all round the dent.",
                       {.size_mm = 3.2, .colour = dark_grey});
  canvas.paragraph({screen.x_mm, y_mm + 2}, column_mm, options.how_to_measure,
                   {.size_mm = 3.2, .colour = dark_grey});
}

}  // namespace

void BoardSheetOptions::validate() const {
  if (tiles_across < 1 || tiles_down < 1 || tiles_across > most_tiles || tiles_down > most_tiles)
    throw UsageError("a board is glued from 1 to " + std::to_string(most_tiles) +
                     " sheets across and down, not " + std::to_string(tiles_across) + " x " +
                     std::to_string(tiles_down));
  const double largest_mm = std::floor(stripe_room(*this).height_mm / min_periods);
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
  const std::vector<BoardBox> dark = dark_stripes(layout, options.pitch_mm, tags);
  for (int row = 0; row < layout.down; ++row) {
    for (int column = 0; column < layout.across; ++column) {
      draw_sheet(canvas, layout, dark, tags, column, row);
      draw_label(canvas, layout, options.pitch_mm, column, row);
      draw_seam_marks(canvas, layout, column, row);
      canvas.next_page();
    }
  }
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
