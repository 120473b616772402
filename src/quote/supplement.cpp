// A second quote against the first: which lines are new, gone or changed.
#include "quote/supplement.hpp"

#include <algorithm>

#include "ripplegauge/core/errors.hpp"

namespace ripplegauge {

namespace {

bool is_of_a_spot(const QuoteLine& line) { return line.type == LineType::spot; }

bool same_line(const QuoteLine& a, const QuoteLine& b) {
  if (a.type != b.type) return false;
  if (is_of_a_spot(a)) return a.spots == b.spots;
  const bool same_row = a.type != LineType::spots || (a.band == b.band && a.severity == b.severity);
  return same_row && a.panel == b.panel && a.name == b.name;
}

bool same_charge(const QuoteLine& a, const QuoteLine& b) {
  return a.amount_minor == b.amount_minor && a.panel == b.panel && a.band == b.band &&
         a.severity == b.severity && a.spots == b.spots;
}

}  // namespace

Supplement supplement_of(const FirstQuote& first, const Quote& now) {
  if (first.currency != now.currency.code)
    throw UsageError("the first quote is in " + first.currency + ", this one in " + now.currency.code +
                     "; a supplement needs one currency");
  Supplement supplement{first.quote_number, {}, 0, first.total_minor, now.total_minor};
  std::vector<QuoteLine> left = first.lines;
  for (const QuoteLine& line : now.lines) {
    if (line.type == LineType::rounding) continue;
    const auto was =
        std::find_if(left.begin(), left.end(), [&](const QuoteLine& one) { return same_line(one, line); });
    if (was == left.end()) {
      supplement.lines.push_back({std::nullopt, line});
      continue;
    }
    if (!same_charge(*was, line)) supplement.lines.push_back({*was, line});
    left.erase(was);
  }
  for (const QuoteLine& line : left)
    if (line.type != LineType::rounding) supplement.lines.push_back({line, std::nullopt});
  supplement.tax_and_rounding_minor = supplement.difference_minor();
  for (const ChangedLine& line : supplement.lines)
    supplement.tax_and_rounding_minor -= line.difference_minor();
  return supplement;
}

}  // namespace ripplegauge
