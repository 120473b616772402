// A supplement in words, for terminal and page.
#include "columns.hpp"
#include "quote/quote_text.hpp"
#include "words/text.hpp"

namespace ripplegauge {

namespace {

std::string with_sign(std::int64_t minor, const std::string& text) { return minor > 0 ? "+" + text : text; }

std::string row_name(const Quote& quote, const QuoteLine& line, const Display& display) {
  const Wording& words = display.words();
  std::string what = line_text(quote, line, display);
  if (line.type == LineType::spot)
    what = words("quote.supplement.spot", {{"id", line.spots.front()}, {"what", what}});
  if (line.panel.empty()) return capitalised(what);
  return words("text.labelled", {{"label", capitalised(line.panel)}, {"text", what}});
}

std::string row_change(const ChangedLine& line, const Display& display) {
  const Wording& words = display.words();
  if (!line.first) return words("quote.supplement.added");
  const std::string first = display.amount(line.first->amount_minor);
  if (!line.now) return words("quote.supplement.gone", {{"first", first}});
  return words("quote.supplement.was_and_is",
               {{"first", first}, {"now", display.amount(line.now->amount_minor)}});
}

}  // namespace

std::string supplement_title(const Quote& quote, const Wording& words) {
  return quote.vehicle.empty() ? words("quote.supplement.title")
                               : words("quote.supplement.title_of", {{"vehicle", quote.vehicle}});
}

std::string supplement_heading(const Supplement& supplement, const Wording& words) {
  if (supplement.first_number.empty()) return words("quote.supplement.heading");
  return words("quote.supplement.heading_numbered", {{"number", supplement.first_number}});
}

std::string supplement_total_text(const Supplement& supplement, const Display& display) {
  const std::int64_t difference = supplement.difference_minor();
  return display.words()("quote.supplement.total",
                         {{"difference", with_sign(difference, display.money(difference))},
                          {"first", display.money(supplement.first_total_minor)},
                          {"now", display.money(supplement.total_minor)}});
}

std::vector<SupplementRow> supplement_rows(const Quote& quote, const Supplement& supplement,
                                           const Display& display) {
  const Wording& words = display.words();
  std::vector<SupplementRow> rows;
  const auto add = [&](const std::string& what, const std::string& change, std::int64_t minor) {
    rows.push_back({what, change, with_sign(minor, display.amount(minor))});
  };
  for (const ChangedLine& line : supplement.lines)
    add(row_name(quote, line.now ? *line.now : *line.first, display), row_change(line, display),
        line.difference_minor());
  if (supplement.tax_and_rounding_minor != 0)
    add(words("quote.supplement.tax"), "", supplement.tax_and_rounding_minor);
  if (rows.empty()) rows.push_back({words("quote.supplement.none"), "", ""});
  add(words("quote.supplement.difference"), "", supplement.difference_minor());
  return rows;
}

std::string supplement_text(const Quote& quote, const Supplement& supplement, const Display& display,
                            int columns) {
  AmountColumn out(columns);
  out.paragraph(supplement_heading(supplement, display.words()));
  for (const SupplementRow& row : supplement_rows(quote, supplement, display))
    out.with_amount(row.change.empty() ? row.what : row.what + ": " + row.change, row.difference, 2);
  out.paragraph(supplement_total_text(supplement, display));
  return out.take();
}

}  // namespace ripplegauge
