// Sheets to print: the scale card and the striped board, as PDF at true size.
#pragma once

#include <string>

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
  bool tags = false;     ///< mirrored tags in the corners and at the middle of the short sides
  std::string
      how_to_measure;  ///< the last line of the second page, in the front end's own words; empty: none

  /// Throws UsageError unless at least `min_periods` of the pitch stand on the paper.
  void validate() const;
  static constexpr double min_pitch_mm = 4;  ///< finer stripes blur in a phone's picture
  static constexpr double min_periods = 4;
};

/// Two pages: the board (stripes, check bar, pitch), and how to set it up.
std::string board_sheet_pdf(const BoardSheetOptions& options);

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
