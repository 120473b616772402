// What a later quote of a job charges beside the first one, line by line: what an insurer who has agreed to
// the first one has to agree to now.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "quote/quote.hpp"

namespace ripplegauge {

/// Of a quote that was saved what a supplement needs.
struct FirstQuote {
  std::string quote_number, currency;
  std::vector<QuoteLine> lines;
  std::int64_t total_minor = 0;
};

/// A line that is not what it was; one of the two may be missing.
struct ChangedLine {
  std::optional<QuoteLine> first, now;

  std::int64_t difference_minor() const {
    return (now ? now->amount_minor : 0) - (first ? first->amount_minor : 0);
  }
};

/// The differences of all lines and the rest are the difference of the totals, exactly.
struct Supplement {
  std::string first_number;
  std::vector<ChangedLine> lines;           ///< in the order of the later quote; what is gone, at the end
  std::int64_t tax_and_rounding_minor = 0;  ///< what these add to the difference of the lines
  std::int64_t first_total_minor = 0, total_minor = 0;

  std::int64_t difference_minor() const { return total_minor - first_total_minor; }
};

/// A spot's line is known by the spot, wherever it stands now; others by panel and name. Throws UsageError
/// where the two are not in one currency.
Supplement supplement_of(const FirstQuote& first, const Quote& now);

}  // namespace ripplegauge
