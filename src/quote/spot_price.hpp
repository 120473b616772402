// Which band, grade and row of the price file a spot gets.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "quote/counts.hpp"
#include "quote/quote.hpp"

namespace ripplegauge {

/// A spot as it is counted, with its band and grade by the price file's policy.
QuotedSpot quoted_from(const Job& job, const CountedSpot& counted, const PriceTable& table);

/// Which rows price a spot: all of them have the same band and severity word.
struct RowKey {
  std::string panel, band, severity;
  auto operator<=>(const RowKey&) const =
      default;  // NOLINT(modernize-use-nullptr): the check sees a null in what the compiler writes
};

/// Nothing where the table prices by severity and the spot's is not known. Throws UsageError where the spot's
/// severity is none that the table has.
std::optional<RowKey> row_key(const PriceTable& table, const QuotedSpot& quoted_spot);

/// The row for so many spots. Throws UsageError where there is none.
const PriceRow& row_for(const PriceTable& table, const RowKey& key, int count);

/// Text in quotation marks; several, with commas between.
std::string quoted(const std::string& text);
std::string listed(const std::vector<std::string>& names);

}  // namespace ripplegauge
