// The user's own prices, as plain data. Amounts are minor units of the table's currency, before tax.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "quote/money.hpp"
#include "words/wording.hpp"

namespace ripplegauge {

/// Which band a spot is priced in when its interval reaches over a band's edge.
enum class StraddlePolicy {
  nearest,  ///< the band of the measured value
  lower,    ///< the band of the interval's lower end
  upper,    ///< the band of the interval's upper end
};

/// What a spot's size is. A crease is often priced by its length.
enum class SizeMeasure { diameter, length };

/// What an amount is paid for.
enum class Per { spot, panel, job };

/// Sizes in [from_mm, to_mm): the lower edge belongs to the band. No to_mm: no upper limit.
struct SizeBand {
  std::string name;
  double from_mm = 0;
  std::optional<double> to_mm;
};

/// In a price row's `band` or `severity`: whatever it is, counted together.
inline const std::string any_word = "any";

/// The price of spots of one band and severity where a panel has count_from to count_to of them.
struct PriceRow {
  std::string band, severity = any_word;
  int count_from = 1;
  std::optional<int> count_to;              ///< the last count that the row holds; absent: and more
  std::optional<std::int64_t> price_minor;  ///< absent: on request
  Per per = Per::spot;                      ///< each spot, or all of them together on a panel
  std::string panel{};               ///< holds for this panel, before rows that name none; empty: for all
  std::optional<int> hours_milli{};  ///< thousandths of an hour, from which price_minor was worked out
};

/// What a percentage surcharge is taken of.
enum class SurchargeBase {
  price,    ///< the spot's price alone
  running,  ///< the price with the surcharges before it
};

/// Applied in the table's order to every spot that has the fact, or whose panel has it.
struct Surcharge {
  std::string name, fact;
  std::optional<Rate> rate;  ///< either this, worked out and rounded spot by spot,
  SurchargeBase of = SurchargeBase::price;
  std::optional<std::int64_t> fixed_minor;  ///< or this,
  Per per = Per::spot;                      ///< once a spot or once a panel
};

/// The most that prices and surcharges of one panel may come to. An empty panel name holds for every panel
/// that has no cap of its own.
struct PanelCap {
  std::string panel;
  std::int64_t amount_minor = 0;
};

/// Work that is not a spot: remove and refit, coating renewal. Charged where the job asks for it by name, and
/// without asking where `fact` holds or `always` is set.
struct FixedItem {
  std::string name;
  std::int64_t price_minor = 0;
  Per per = Per::panel;  ///< panel or job
  std::string fact;
  bool always = false;
  bool untaxed = false;              ///< a fee that is handed on: no tax is taken of it
  std::optional<int> hours_milli{};  ///< as in a price row
};

/// Off everything before tax: either a rate or an amount.
struct Discount {
  std::string name = "discount";
  std::optional<Rate> rate;
  std::optional<std::int64_t> fixed_minor;
};

/// Off the spots and surcharges of one panel, after its cap.
struct PanelDiscount {
  std::string panel;
  Discount discount;
};

struct Tax {
  std::string name = "tax";
  Rate rate;
  bool on_first = false;  ///< of a second tax: taken of the first one, too
};

/// Where discount rate and tax are rounded.
enum class RoundingPlace {
  once,      ///< on the sum
  per_line,  ///< on every line, then added up
};

struct Rounding {
  RoundingMode mode = RoundingMode::half_up;
  RoundingPlace place = RoundingPlace::once;
  std::int64_t cash_step_minor = 1;  ///< the total becomes a multiple of this; 1 = no cash rounding
};

struct PriceTable {
  std::string name, note;
  Currency currency;
  std::string locale;  ///< for display, "de-DE" or "de_DE"; empty: plain
  SizeMeasure size_by = SizeMeasure::diameter;
  StraddlePolicy policy = StraddlePolicy::nearest;
  std::vector<SizeBand> bands;
  std::vector<std::string> severities;  ///< the grades that the table knows, in rising order
  std::vector<PriceRow> prices;
  std::vector<std::string> beyond_pulling;  ///< grades that mean: not to be mended by pulling
  bool price_beyond_pulling = false;
  std::vector<Surcharge> surcharges;
  std::vector<PanelCap> caps;
  std::vector<FixedItem> items;
  std::optional<Discount> discount;
  std::vector<PanelDiscount> panel_discounts;
  std::optional<std::int64_t> minimum_minor;  ///< the least that a job with any work comes to, before tax
  std::optional<std::int64_t> hourly_minor;   ///< what an hour costs, where rows or items say hours
  std::optional<Tax> tax, second_tax;
  bool prices_include_tax = false;
  Rounding rounding;
};

/// What so many thousandths of an hour cost.
std::int64_t price_of_hours(std::int64_t hourly_minor, int hours_milli, RoundingMode mode);

/// What is wrong with a table: the key or row, what it says, and the rule that it breaks.
struct TableProblem {
  std::string key, value, rule;
};

/// Everything that makes the table ambiguous, gapped or senseless, the gap named. Empty: every spot of a
/// known grade has exactly one price (or is on request).
std::vector<TableProblem> problems_of(const PriceTable& table);

/// What is allowed but looks like a slip: steps by which more or larger spots cost less than fewer or smaller
/// ones. One sentence each.
std::vector<std::string> warnings_of(const PriceTable& table);

const char* to_string(StraddlePolicy policy);
const char* to_string(SizeMeasure measure);
const char* to_string(Per per);
const char* to_string(SurchargeBase base);
const char* to_string(RoundingPlace place);

/// "20 mm", "22.5 mm": a band's edge as it was written.
std::string edge_text(double edge_mm);

/// "10–20 mm", "80 mm and more".
std::string range_text(const SizeBand& band, const Wording& words = Wording::plain());

}  // namespace ripplegauge
