// Sizes and grades have intervals, prices have limits: where an interval straddles one, the price file's
// policy decides, and the quote says between what.
#include "spot_price.hpp"

#include <algorithm>

#include "core/joined.hpp"
#include "ripplegauge/core/errors.hpp"

namespace ripplegauge {
namespace {

std::string who(const JobSpot& spot) { return "spot " + std::to_string(spot.id) + " on " + spot.panel; }

/// The index of the band that the stated policy chooses.
std::size_t chosen_band(const PriceTable& table, const Quantity& size_mm) {
  switch (table.policy) {
    case StraddlePolicy::lower:
      return band_index(table.bands, size_mm.low);
    case StraddlePolicy::upper:
      return band_index(table.bands, size_mm.high);
    case StraddlePolicy::nearest:
      break;
  }
  return band_index(table.bands, size_mm.value);
}

/// Of the grades that a spot's intervals allow those that the table knows, mildest first.
std::vector<std::string> allowed_grades(const PriceTable& table, const JobSpot& spot) {
  std::vector<std::string> allowed;
  for (const std::string& grade : table.severities)
    if (has_fact(spot.severities_allowed, grade)) allowed.push_back(grade);
  return has_fact(allowed, spot.severity) ? allowed : std::vector<std::string>{};
}

/// The grade that the stated policy chooses, as it does for sizes.
void choose_grade(const PriceTable& table, QuotedSpot& result) {
  result.severity = result.spot.severity;
  const std::vector<std::string> allowed = allowed_grades(table, result.spot);
  if (allowed.size() < 2) return;
  result.mild_severity = allowed.front();
  result.worst_severity = allowed.back();
  if (table.policy == StraddlePolicy::lower) result.severity = allowed.front();
  if (table.policy == StraddlePolicy::upper) result.severity = allowed.back();
}

}  // namespace

std::string quoted(const std::string& text) { return "\"" + text + "\""; }

std::string listed(const std::vector<std::string>& names) {
  std::vector<std::string> all(names.size());
  std::transform(names.begin(), names.end(), all.begin(), quoted);
  return joined(all);
}

QuotedSpot quoted_from(const Job& job, const CountedSpot& counted, const PriceTable& table) {
  QuotedSpot result;
  const auto found = std::find_if(job.spots.begin(), job.spots.end(),
                                  [&](const JobSpot& spot) { return spot.id == counted.id; });
  result.spot = *found;
  result.also_seen = counted.also_seen;
  const Quantity& size_mm = size_of(result.spot, table.size_by);
  result.band = table.bands[chosen_band(table, size_mm)].name;
  const std::size_t low = band_index(table.bands, size_mm.low), high = band_index(table.bands, size_mm.high);
  if (low != high) {
    result.low_band = table.bands[low].name;
    result.high_band = table.bands[high].name;
  }
  choose_grade(table, result);
  result.beyond_pulling = result.spot.beyond_pulling || has_fact(table.beyond_pulling, result.severity);
  return result;
}

std::optional<RowKey> row_key(const PriceTable& table, const QuotedSpot& quoted_spot) {
  const JobSpot& spot = quoted_spot.spot;
  const std::string& severity = quoted_spot.severity;
  if (!severity.empty() && !table.severities.empty() && !has_fact(table.severities, severity))
    throw UsageError(who(spot) + " has severity " + quoted(severity) +
                     ", which the price file does not know: it has " + listed(table.severities));
  for (const bool of_this_panel : {true, false})
    for (const PriceRow& row : table.prices) {
      if (of_this_panel ? !same_name(row.panel, spot.panel) : !row.panel.empty()) continue;
      if (row.band != any_word && row.band != quoted_spot.band) continue;
      if (row.severity == any_word || same_name(row.severity, severity))
        return RowKey{row.panel, row.band, row.severity};
    }
  if (severity.empty()) return std::nullopt;
  throw UsageError(who(spot) + " has severity " + quoted(severity) + ", but the price file prices band " +
                   quoted(quoted_spot.band) + " by severity: " + listed(table.severities));
}

const PriceRow& row_for(const PriceTable& table, const RowKey& key, int count) {
  const auto found = std::find_if(table.prices.begin(), table.prices.end(), [&](const PriceRow& row) {
    return row.panel == key.panel && row.band == key.band && row.severity == key.severity &&
           count >= row.count_from && (!row.count_to || count <= *row.count_to);
  });
  if (found == table.prices.end())
    throw UsageError("the price file has no price for " + std::to_string(count) + " spots of band " +
                     quoted(key.band) + ", severity " + quoted(key.severity));
  return *found;
}

}  // namespace ripplegauge
