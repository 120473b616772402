// A quote in words: what terminal, page and spreadsheet say of a line, and the whole of it for a terminal.
#pragma once

#include <string>
#include <utility>
#include <vector>

#include "ripplegauge/quote/display.hpp"
#include "ripplegauge/quote/quote.hpp"

namespace ripplegauge {

/// What a line is for: "small, light", "aluminium, 25 % of 140.50", "coating renewal, 2 × 65.00".
std::string line_text(const Quote& quote, const QuoteLine& line, const Display& display);

/// "small, light, beyond pulling"
std::string spot_words(const QuotedSpot& spot);

/// "between small and middle: priced as middle, nearest"; empty where the interval lies within one band.
std::string straddle_text(const Quote& quote, const QuotedSpot& spot);

/// "a.jpg, spot 2 there" or "by hand", and the sightings that show the spot as well.
std::string source_text(const Quote& quote, const QuotedSpot& spot);

/// The rows under the lines: a sum for each kind of line there is, subtotal, tax, rounding, total.
struct TotalRow {
  std::string text;
  std::int64_t amount_minor = 0;
  bool is_total = false;
};
std::vector<TotalRow> total_rows(const Quote& quote, const Display& display);

/// "2 spots have no price and are not in the total"; empty when all have one.
std::string unpriced_text(const Quote& quote);

/// What "beyond pulling" means to the customer; empty where no spot is.
std::string beyond_pulling_text(const Quote& quote);

/// The whole quote, plain, at most `columns` cells wide.
std::string quote_text(const Quote& quote, const Display& display, int columns = 80);

/// What a price file says, for the person who wrote it to check, at most `columns` cells wide.
std::string price_table_text(const PriceTable& table, const Display& display, int columns = 80);

}  // namespace ripplegauge
