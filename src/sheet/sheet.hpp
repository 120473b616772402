// Sheets to print: the scale card and the striped board, as PDF at true size.
#pragma once

#include <string>
#include <vector>

#include "ripplegauge/core/board_definition.hpp"
#include "ripplegauge/core/card_definition.hpp"

namespace ripplegauge {

enum class Paper { a4, letter, a3 };

/// Upright. A4 and A3 by ISO 216, Letter 8.5 x 11 in.
struct PaperSize {
  double width_mm = 0, height_mm = 0;
};
PaperSize size_of(Paper paper);

/// One page: the card with its cutting line, the check bar, how to use it. Throws UsageError when the card
/// does not fit.
std::string card_sheet_pdf(const CardDefinition& card, Paper paper);

struct BoardSheetOptions {
  Paper paper = Paper::a4;
  double pitch_mm = 16;  ///< about twenty stripes over a dent's width of reflection at arm's length
  bool tags = false;     ///< mirrored tags in the corners and along the short sides
  /// Sheets beside and above each other that are glued into one board: A4 alone is small in a photo.
  int tiles_across = 1, tiles_down = 1;
  /// The last line of the page on how to photograph, in the front end's own words; empty: none.
  std::string how_to_measure = "";

  /// Throws UsageError unless at least `min_periods` of the pitch stand on each sheet.
  void validate() const;
  static constexpr double min_pitch_mm = 4;  ///< finer stripes blur in a phone's picture
  static constexpr double min_periods = 4;
  static constexpr int most_tiles = 6;  ///< of A4: 1.6 m
};

/// The board (stripes, check bar, pitch) on one page for each of its sheets, row by row, with marks where to
/// cut and to glue; then a page on how to set it up.
std::string board_sheet_pdf(const BoardSheetOptions& options);

/// A good place for phone and board, seen along the panel: what the pages draw and say. Both stand in one
/// plane with the panel's normal at the dent, each so far off it that the dent mirrors the board's middle.
struct TaughtSetup {
  std::string panel, note;
  bool upright_panel = false;  ///< then the drawing shows it from above, and the stripes stand upright
  double view_deg = 35;        ///< of phone and of board, off the normal
  double phone_mm = 350, board_mm = 300;  ///< from the dent
  double board_lean_deg = 30;             ///< of the board's face: from along the normal towards the dent
};
std::vector<TaughtSetup> taught_setups();

struct TagSheetOptions {
  Paper paper = Paper::a4;
  int first_id = 40;  ///< as on printed boards: apart from the card's
  int count = 6;
  double side_mm = 40;
  std::string
      how_to_describe;  ///< what follows "Describe them", in the front end's own words; empty: nothing

  /// Throws UsageError when the tags do not fit one page or do not exist.
  void validate() const;
};

/// One page of mirrored tags to cut out and stick onto a board of any make, and how to describe them.
std::string tag_sheet_pdf(const TagSheetOptions& options);

/// What the sheet's board is once it is printed, for its board file. `bar_length_mm` is what the printed
/// check bar really measures: every length scales by it / 100.
BoardDefinition board_of_sheet(const BoardSheetOptions& options, double bar_length_mm = 100);

}  // namespace ripplegauge
