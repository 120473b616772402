// A quote in words: what terminal, page and spreadsheet say of a line, and the whole of it for a terminal.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "quote/display.hpp"
#include "quote/quote.hpp"
#include "quote/supplement.hpp"

namespace ripplegauge {

/// "Quote: blue estate"
std::string quote_title(const Quote& quote, const Wording& words);

/// What a line is for: "small, light", "aluminium, 25 % of 140.50", "coating renewal, 2 × 65.00".
std::string line_text(const Quote& quote, const QuoteLine& line, const Display& display);

/// Claim number, quote number, validity, with their names; those that there are.
std::vector<std::pair<std::string, std::string>> numbers_of(const Quote& quote, const Wording& words);

/// "small, light, beyond pulling"
std::string spot_words(const QuotedSpot& spot, const Wording& words);

/// "between small and middle, and between light and deep: priced as middle, light (nearest)"; empty where the
/// intervals lie within one band and one grade.
std::string straddle_text(const Quote& quote, const QuotedSpot& spot, const Wording& words);

/// "a.jpg, spot 2 there" or "by hand", and the sightings that show the spot as well.
std::string source_text(const Quote& quote, const QuotedSpot& spot, const Wording& words);

std::string no_price_text(NoPrice reason, const Wording& words);

/// "deep 0.21 mm (0.20–0.22)"
std::string depth_text(Kind kind, const Quantity& depth_mm, const Display& display);

/// The rows under the lines: a sum for each kind of line there is, subtotal, tax, rounding, total.
struct TotalRow {
  std::string text;
  std::int64_t amount_minor = 0;
  bool is_total = false;
};
std::vector<TotalRow> total_rows(const Quote& quote, const Display& display);

/// Each tax with its rate, and what it comes to.
std::vector<std::pair<std::string, std::int64_t>> tax_rows(const Quote& quote, const Display& display);

/// "2 spots have no price and are not in the total"; empty when all have one.
std::string unpriced_text(const Quote& quote, const Wording& words);

/// Why the total is not the whole vehicle's: "2 of 7 photos could not be measured. ..."; empty when it is.
std::string partial_text(const Quote& quote, const Wording& words);

/// "left door, IMG_2.jpg: The photo is blurred." for each photo that was refused, and a line for each panel
/// that nothing is known of.
struct MissingPart {
  std::string panel, what, why;
};
std::vector<MissingPart> missing_parts(const Quote& quote, const Wording& words);

/// A warning and what it is about: "... (a.jpg, b.jpg)".
std::string warning_text(const Quote& quote, const JobWarning& warning, const Wording& words);

/// What was measured of a spot that was changed by hand, and why it was changed; empty where nothing was.
std::string hand_text(const Quote& quote, const QuotedSpot& spot, const Display& display);

/// "2026-04-02, spot 3: grade from moderate to sharp, because ... (bay 2)"
std::string change_text(const JobChange& change, const Display& display);

/// Where the total would lie if the spots between two bands or grades were priced lower and higher; empty
/// where none is.
std::string span_text(const Quote& quote, const Display& display);

/// What "beyond pulling" means to the customer; empty where no spot is.
std::string beyond_pulling_text(const Quote& quote, const Wording& words);

/// "Supplement +€62.05: €500.05 in the first quote, €562.10 now"
std::string supplement_total_text(const Supplement& supplement, const Display& display);
std::string supplement_title(const Quote& quote, const Wording& words);
std::string supplement_heading(const Supplement& supplement, const Wording& words);

/// What a line is, what became of it, and the difference; tax and the whole difference at the end.
struct SupplementRow {
  std::string what, change, difference;
};
std::vector<SupplementRow> supplement_rows(const Quote& quote, const Supplement& supplement,
                                           const Display& display);

/// The same as text, at most `columns` cells wide.
std::string supplement_text(const Quote& quote, const Supplement& supplement, const Display& display,
                            int columns = 80);

/// The whole quote, plain, at most `columns` cells wide.
std::string quote_text(const Quote& quote, const Display& display, int columns = 80);

/// What a price file says, for the person who wrote it to check, at most `columns` cells wide.
std::string price_table_text(const PriceTable& table, const Display& display, int columns = 80);

}  // namespace ripplegauge
