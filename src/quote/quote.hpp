// From a job and a price table to a quote: pure arithmetic in minor units. The lines, surcharges and
// discounts among them, plus the tax are the total, exactly.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "core/enum_words.hpp"
#include "quote/counts.hpp"
#include "quote/job.hpp"
#include "quote/overlap.hpp"
#include "quote/price_table.hpp"

namespace ripplegauge {

enum class LineType {
  spot,       ///< one spot
  spots,      ///< all spots of one price row on a panel, for one amount
  surcharge,  ///< one surcharge on one panel
  cap,        ///< what a panel's cap takes off; negative
  item,       ///< work besides the spots
  minimum,    ///< up to the least that a job comes to
  discount,   ///< negative; of one panel or of the whole job
  rounding,   ///< from the sum with tax to the smallest coin in use
};

const char* to_string(LineType type);

/// A spot that counts, as the quote sees it: the evidence behind a line.
struct QuotedSpot {
  JobSpot spot;                ///< as in the job
  std::vector<int> also_seen;  ///< sightings of the same spot in other photos; counted once
  std::string band;            ///< the band it is priced in
  std::optional<std::string> low_band,
      high_band;         ///< of its interval's ends, where they differ: it straddles
  std::string severity;  ///< the grade that it is priced in
  std::optional<std::string> mild_severity,
      worst_severity;  ///< what its intervals allow, of the grades that the table knows, where they differ
  bool beyond_pulling = false;
};

struct QuoteLine {
  LineType type = LineType::spot;
  std::string panel;       ///< empty: the whole job
  std::string name;        ///< of a surcharge, item or discount
  std::vector<int> spots;  ///< ids of the spots that it is charged for
  std::string band, severity;
  bool beyond_pulling = false;
  std::optional<Rate> rate;              ///< of a percentage surcharge or discount ...
  std::optional<std::int64_t> of_minor;  ///< ... and what it is taken of
  int count = 1;                         ///< of an item, or of a fixed surcharge
  std::optional<int> hours_milli;        ///< of a spot or item that is priced by the hour: thousandths
  bool untaxed = false;
  std::int64_t amount_minor = 0;
  std::optional<std::int64_t> tax_minor;  ///< where tax is rounded on every line
};

enum class NoPrice {
  severity_not_known,  ///< a word from the workshop would give a price
  beyond_pulling,
  on_request
};
template <>
struct EnumWords<NoPrice> {
  static constexpr std::pair<NoPrice, const char*> list[] = {
      {NoPrice::severity_not_known, "severity not known"},
      {NoPrice::beyond_pulling, "beyond pulling"},
      {NoPrice::on_request, "price on request"}};
};

/// A spot that counts but has no price.
struct UnpricedSpot {
  int id = 0;
  std::string panel;
  NoPrice reason = NoPrice::on_request;
};

struct Quote {
  /// Whether the total holds less than the vehicle: photos that were refused, panels without a measurement,
  /// spots without a price.
  bool partial() const { return !not_measured.empty() || !unpriced.empty(); }

  std::string vehicle, notes, claim_number, quote_number, valid_until;
  std::string prices_name, prices_note;
  Currency currency;
  StraddlePolicy policy = StraddlePolicy::nearest;
  SizeMeasure size_by = SizeMeasure::diameter;
  Rounding rounding;
  std::vector<std::string> panels;  ///< those with a line or a spot, in the job's order
  std::vector<QuoteLine> lines;     ///< panel by panel, then the job's items, discount, rounding
  std::vector<QuotedSpot> spots;    ///< every spot that counts, by id
  SpotCounts counts;                ///< panels without spots are left out
  std::vector<UnpricedSpot> unpriced;
  std::vector<JobPhoto> photos;
  NotMeasured not_measured;
  std::vector<JobWarning> warnings;
  std::vector<JobChange> changes;
  std::vector<std::string> questions;  ///< see CountedOnce
  std::optional<Tax> tax, second_tax;
  bool prices_include_tax = false;
  std::optional<std::int64_t> hourly_minor;
  std::int64_t subtotal_minor = 0;  ///< all lines but the rounding line
  /// Both taxes together. On top of the subtotal, or, where the prices include it, the part of the subtotal
  /// that is tax.
  std::int64_t tax_minor = 0;
  std::int64_t second_tax_minor = 0;  ///< of that the second one
  std::int64_t total_minor = 0;
  /// The total if every spot between two bands or grades were priced in the lower one, and in the upper one;
  /// absent where no spot is, or where other spots would then be without a price.
  std::optional<std::int64_t> total_lower_minor, total_upper_minor;
  std::vector<std::string>
      remarks;  ///< what the workshop should know: facts without a price, a limited discount
};

struct QuoteOptions {
  OverlapOptions overlap;
  Wording words = Wording::plain();  ///< of questions and remarks
};

/// Prices a job. The table must be free of problems (see problems_of). Throws UsageError for a spot whose
/// severity is a word that the table does not know, and for an item that it does not have, naming it. A spot
/// without a severity has no price where the table prices by severity.
Quote make_quote(const Job& job, const PriceTable& table, const QuoteOptions& options = {});

/// The sum of a quote's lines of one type; of one panel only, if named.
std::int64_t sum_of(const Quote& quote, LineType type);
std::int64_t panel_sum(const Quote& quote, const std::string& panel);

const QuotedSpot& quoted_spot(const Quote& quote, int id);

}  // namespace ripplegauge
