// From spots to lines: each spot gets its band and grade, prices are summed, then surcharges, caps, discounts
// and tax in the order that the price file states.
#include "quote/quote.hpp"

#include <algorithm>
#include <map>
#include <set>

#include "quote/counts.hpp"
#include "quote_tax.hpp"
#include "ripplegauge/core/errors.hpp"
#include "spot_price.hpp"

namespace ripplegauge {

namespace {

using Facts = std::vector<std::string>;

/// One price with the spots that it is for, and what surcharges have made of it so far.
struct Priced {
  QuoteLine line;
  std::vector<Facts> facts;  ///< of each spot
  std::int64_t running_minor = 0;
};

QuoteLine line_for(const PriceRow& row, const std::string& panel,
                   const std::vector<const QuotedSpot*>& spots) {
  QuoteLine line;
  line.type = row.per == Per::spot ? LineType::spot : LineType::spots;
  line.panel = panel;
  line.amount_minor = *row.price_minor;
  line.hours_milli = row.hours_milli;
  line.band = row.per == Per::spot ? spots.front()->band : row.band;
  line.severity = row.per == Per::spot ? spots.front()->severity : row.severity;
  for (const QuotedSpot* spot : spots) {
    line.spots.push_back(spot->spot.id);
    line.beyond_pulling = line.beyond_pulling || spot->beyond_pulling;
  }
  return line;
}

std::vector<Priced> priced_spots(const Job& job, const PriceTable& table, const std::string& panel,
                                 Quote& quote) {
  std::map<RowKey, std::vector<const QuotedSpot*>> groups;
  for (const QuotedSpot& spot : quote.spots) {
    if (spot.spot.panel != panel) continue;
    if (spot.beyond_pulling && !table.price_beyond_pulling)
      quote.unpriced.push_back({spot.spot.id, panel, NoPrice::beyond_pulling});
    else if (const auto key = row_key(table, spot))
      groups[*key].push_back(&spot);
    else
      quote.unpriced.push_back({spot.spot.id, panel, NoPrice::severity_not_known});
  }
  std::vector<Priced> priced;
  const auto add = [&](const PriceRow& row, const std::vector<const QuotedSpot*>& spots) {
    Priced one{line_for(row, panel, spots), {}, *row.price_minor};
    for (const QuotedSpot* spot : spots) one.facts.push_back(facts_of(job, spot->spot));
    priced.push_back(std::move(one));
  };
  for (const auto& [key, spots] : groups) {
    const PriceRow& row = row_for(table, key, static_cast<int>(spots.size()));
    if (!row.price_minor) {
      for (const QuotedSpot* spot : spots)
        quote.unpriced.push_back({spot->spot.id, panel, NoPrice::on_request});
    } else if (row.per == Per::spot) {
      for (const QuotedSpot* spot : spots) add(row, {spot});
    } else {
      add(row, spots);
    }
  }
  std::sort(priced.begin(), priced.end(),
            [](const Priced& a, const Priced& b) { return a.line.spots.front() < b.line.spots.front(); });
  return priced;
}

/// One surcharge on one panel. A percentage is worked out and rounded price by price; of an amount for
/// several spots it is taken of the share of those that have the fact.
std::optional<QuoteLine> apply(const Surcharge& surcharge, std::vector<Priced>& priced, RoundingMode mode) {
  QuoteLine line;
  line.type = LineType::surcharge;
  line.name = surcharge.name;
  line.rate = surcharge.rate;
  line.count = 0;
  if (surcharge.rate) line.of_minor = 0;
  for (Priced& price : priced) {
    int affected = 0;
    for (std::size_t i = 0; i < price.facts.size(); ++i) {
      if (!has_fact(price.facts[i], surcharge.fact)) continue;
      line.spots.push_back(price.line.spots[i]);
      ++affected;
    }
    if (affected == 0) continue;
    line.panel = price.line.panel;
    line.count += affected;
    std::int64_t extra_minor = 0;
    if (surcharge.rate) {
      const std::int64_t base_minor =
          surcharge.of == SurchargeBase::price ? price.line.amount_minor : price.running_minor;
      const auto spots = static_cast<std::int64_t>(price.facts.size());
      const std::int64_t part_minor = scaled_minor(base_minor, affected, spots, mode);
      line.of_minor = add_minor(*line.of_minor, part_minor);
      extra_minor = share_minor(part_minor, *surcharge.rate, mode);
    } else if (surcharge.per == Per::spot) {
      extra_minor = add_minor(*surcharge.fixed_minor * affected, 0);
    }
    price.running_minor = add_minor(price.running_minor, extra_minor);
    line.amount_minor = add_minor(line.amount_minor, extra_minor);
  }
  if (line.spots.empty()) return std::nullopt;
  if (surcharge.fixed_minor && surcharge.per == Per::panel) {
    line.amount_minor = *surcharge.fixed_minor;
    line.count = 1;
  }
  std::sort(line.spots.begin(), line.spots.end());
  return line;
}

std::optional<QuoteLine> cap_line(const PriceTable& table, const std::string& panel, std::int64_t sum_minor) {
  const PanelCap* cap = nullptr;
  for (const PanelCap& candidate : table.caps)
    if (same_name(candidate.panel, panel) || (candidate.panel.empty() && cap == nullptr)) cap = &candidate;
  if (cap == nullptr || sum_minor <= cap->amount_minor) return std::nullopt;
  QuoteLine line;
  line.type = LineType::cap;
  line.panel = panel;
  line.of_minor = cap->amount_minor;
  line.amount_minor = cap->amount_minor - sum_minor;
  return line;
}

/// Facts of a panel and of the spots on it that count.
Facts facts_on(const Job& job, const Quote& quote, const JobPanel& panel) {
  Facts facts = panel.facts;
  for (const QuotedSpot& spot : quote.spots) {
    if (spot.spot.panel != panel.name) continue;
    for (const std::string& fact : facts_of(job, spot.spot))
      if (!has_fact(facts, fact)) facts.push_back(fact);
  }
  return facts;
}

bool has_spots(const Quote& quote, const std::string& panel) {
  return std::any_of(quote.spots.begin(), quote.spots.end(),
                     [&](const QuotedSpot& spot) { return spot.spot.panel == panel; });
}

/// How often an item is charged on a panel, or (no panel) for the whole job. What the job asks for by name
/// goes before what the table charges by itself.
int item_count(const Job& job, const Quote& quote, const FixedItem& item, const JobPanel* panel) {
  for (const JobItem& wanted : job.items)
    if (wanted.price.empty() && same_name(wanted.name, item.name) &&
        wanted.panel == (panel == nullptr ? "" : panel->name))
      return wanted.count;
  if ((item.per == Per::panel) != (panel != nullptr)) return 0;
  const auto calls_for = [&](const JobPanel& one) {
    return item.always ? has_spots(quote, one.name) : has_fact(facts_on(job, quote, one), item.fact);
  };
  if (panel != nullptr) return calls_for(*panel) ? 1 : 0;
  const bool asked_by_name = std::any_of(job.items.begin(), job.items.end(), [&](const JobItem& wanted) {
    return same_name(wanted.name, item.name);
  });
  return !asked_by_name && std::any_of(job.panels.begin(), job.panels.end(), calls_for) ? 1 : 0;
}

/// Work that the job itself has a price for.
void add_one_offs(const Job& job, const PriceTable& table, const JobPanel* panel, Quote& quote) {
  for (const JobItem& item : job.items) {
    if (item.price.empty() || item.panel != (panel == nullptr ? "" : panel->name)) continue;
    const auto price_minor = minor_from_decimal(item.price, table.currency.decimals);
    if (!price_minor || *price_minor > largest_price_minor)
      throw UsageError("the job asks for " + quoted(item.name) + " at " + item.price +
                       ", which is no amount in " + table.currency.code);
    QuoteLine line;
    line.type = LineType::item;
    line.panel = item.panel;
    line.name = item.name;
    line.count = item.count;
    line.of_minor = *price_minor;
    line.amount_minor = add_minor(*price_minor * item.count, 0);
    line.untaxed = item.untaxed;
    quote.lines.push_back(std::move(line));
  }
}

void add_items(const Job& job, const PriceTable& table, const JobPanel* panel, Quote& quote) {
  for (const FixedItem& item : table.items) {
    const int count = item_count(job, quote, item, panel);
    if (count == 0) continue;
    QuoteLine line;
    line.type = LineType::item;
    line.panel = panel == nullptr ? "" : panel->name;
    line.name = item.name;
    line.count = count;
    line.of_minor = item.price_minor;
    line.amount_minor = add_minor(item.price_minor * count, 0);
    line.hours_milli = item.hours_milli;
    line.untaxed = item.untaxed;
    quote.lines.push_back(std::move(line));
  }
  add_one_offs(job, table, panel, quote);
}

void check_wanted_items(const Job& job, const PriceTable& table) {
  for (const JobItem& wanted : job.items) {
    const bool known = std::any_of(table.items.begin(), table.items.end(),
                                   [&](const FixedItem& item) { return same_name(item.name, wanted.name); });
    if (known || !wanted.price.empty()) continue;
    std::vector<std::string> names;
    for (const FixedItem& item : table.items) names.push_back(item.name);
    throw UsageError("the job asks for " + quoted(wanted.name) + ", which the price file does not have" +
                     (names.empty() ? "" : ": it has " + listed(names)) +
                     "; a one-off needs a price of its own");
  }
}

std::optional<QuoteLine> panel_discount_line(const PriceTable& table, const std::string& panel,
                                             std::int64_t sum_minor) {
  for (const PanelDiscount& one : table.panel_discounts) {
    if (!same_name(one.panel, panel) || sum_minor <= 0) continue;
    QuoteLine line;
    line.type = LineType::discount;
    line.panel = panel;
    line.name = one.discount.name;
    line.rate = one.discount.rate;
    line.of_minor = sum_minor;
    line.amount_minor = one.discount.rate ? -share_minor(sum_minor, *one.discount.rate, table.rounding.mode)
                                          : -std::min(*one.discount.fixed_minor, sum_minor);
    return line;
  }
  return std::nullopt;
}

void add_panel(const Job& job, const PriceTable& table, const JobPanel& panel, Quote& quote) {
  std::vector<Priced> priced = priced_spots(job, table, panel.name, quote);
  std::vector<QuoteLine> lines;
  lines.reserve(priced.size());
  for (const Priced& price : priced) lines.push_back(price.line);
  for (const Surcharge& surcharge : table.surcharges)
    if (auto line = apply(surcharge, priced, table.rounding.mode)) lines.push_back(std::move(*line));
  std::int64_t sum_minor = 0;
  for (const QuoteLine& line : lines) sum_minor = add_minor(sum_minor, line.amount_minor);
  if (auto line = cap_line(table, panel.name, sum_minor)) {
    sum_minor = add_minor(sum_minor, line->amount_minor);
    lines.push_back(std::move(*line));
  }
  if (auto line = panel_discount_line(table, panel.name, sum_minor)) lines.push_back(std::move(*line));
  const std::size_t before = quote.lines.size();
  quote.lines.insert(quote.lines.end(), lines.begin(), lines.end());
  add_items(job, table, &panel, quote);
  if (quote.lines.size() > before || has_spots(quote, panel.name)) quote.panels.push_back(panel.name);
}

/// Adds the discount line; returns what each line before it is less by, for tax that is rounded on every
/// line.
std::vector<std::int64_t> add_discount(const PriceTable& table, const Wording& words, Quote& quote) {
  std::vector<std::int64_t> off_minor(quote.lines.size(), 0);
  if (!table.discount) return off_minor;
  const Rounding& rounding = table.rounding;
  QuoteLine line;
  line.type = LineType::discount;
  line.name = table.discount->name;
  line.rate = table.discount->rate;
  line.of_minor = lines_sum(quote);
  if (table.discount->fixed_minor) {
    line.amount_minor = -std::min(*table.discount->fixed_minor, *line.of_minor);
    if (-line.amount_minor < *table.discount->fixed_minor)
      quote.remarks.push_back(words("quote.remark.discount", {{"name", line.name}}));
  } else if (rounding.place == RoundingPlace::once) {
    line.amount_minor = -share_minor(*line.of_minor, *line.rate, rounding.mode);
  } else {
    for (std::size_t i = 0; i < off_minor.size(); ++i) {
      off_minor[i] = share_minor(quote.lines[i].amount_minor, *line.rate, rounding.mode);
      line.amount_minor = add_minor(line.amount_minor, -off_minor[i]);
    }
  }
  if (line.amount_minor != 0) quote.lines.push_back(std::move(line));
  return off_minor;
}

/// What the discount leaves of a job may not fall below the minimum.
void add_minimum(const PriceTable& table, Quote& quote) {
  if (!table.minimum_minor || quote.lines.empty()) return;
  const std::int64_t sum_minor = lines_sum(quote);
  if (sum_minor >= *table.minimum_minor) return;
  QuoteLine line;
  line.type = LineType::minimum;
  line.name = "minimum charge";
  line.of_minor = *table.minimum_minor;
  line.amount_minor = *table.minimum_minor - sum_minor;
  quote.lines.push_back(std::move(line));
}

void add_total(const PriceTable& table, Quote& quote) {
  const std::int64_t exact_minor =
      add_minor(quote.subtotal_minor, quote.prices_include_tax ? 0 : quote.tax_minor);
  quote.total_minor = rounded_to_step(exact_minor, table.rounding.cash_step_minor, table.rounding.mode);
  if (quote.total_minor == exact_minor) return;
  QuoteLine line;
  line.type = LineType::rounding;
  line.of_minor = table.rounding.cash_step_minor;
  line.amount_minor = quote.total_minor - exact_minor;
  if (table.tax && table.rounding.place == RoundingPlace::per_line) line.tax_minor = 0;
  quote.lines.push_back(std::move(line));
}

/// What a word from the workshop would give a price.
void remark_on_severities(const PriceTable& table, const Wording& words, Quote& quote) {
  std::string ids, grades;
  for (const UnpricedSpot& spot : quote.unpriced)
    if (spot.reason == NoPrice::severity_not_known) ids += (ids.empty() ? "" : ",") + std::to_string(spot.id);
  for (const std::string& grade : table.severities)
    grades += (grades.empty() ? "" : ", ") + words("text.quoted", {{"text", grade}});
  if (!ids.empty())
    quote.remarks.push_back(words("quote.remark.severity", {{"spots", ids}, {"grades", grades}}));
}

/// A fact that no price speaks of may be a slip of the pen that costs the workshop money: it is named.
void remark_on_facts(const Job& job, const PriceTable& table, const Wording& words, Quote& quote) {
  const auto priced = [&](const std::string& fact) {
    const auto speaks_of_it = [&](const auto& entry) { return same_name(entry.fact, fact); };
    return std::any_of(table.surcharges.begin(), table.surcharges.end(), speaks_of_it) ||
           std::any_of(table.items.begin(), table.items.end(), speaks_of_it);
  };
  for (const JobPanel& panel : job.panels)
    for (const std::string& fact : facts_on(job, quote, panel))
      if (!priced(fact))
        quote.remarks.push_back(words("quote.remark.fact", {{"panel", panel.name}, {"fact", fact}}));
}

/// By the bands that the spots are priced in.
SpotCounts counts_of(const Quote& quote, const PriceTable& table) {
  SpotCounts counts{table.bands, {}, 0};
  for (const QuotedSpot& spot : quote.spots) {
    auto panel = std::find_if(counts.panels.begin(), counts.panels.end(),
                              [&](const PanelCount& one) { return one.panel == spot.spot.panel; });
    if (panel == counts.panels.end())
      panel = counts.panels.insert(panel, {spot.spot.panel, std::vector<int>(table.bands.size(), 0), 0});
    const auto band = std::find_if(table.bands.begin(), table.bands.end(),
                                   [&](const SizeBand& one) { return one.name == spot.band; });
    ++panel->by_band[static_cast<std::size_t>(band - table.bands.begin())];
    ++panel->total;
    ++counts.total;
  }
  return counts;
}

}  // namespace

const char* to_string(LineType type) {
  switch (type) {
    case LineType::spot:
      return "spot";
    case LineType::spots:
      return "spots";
    case LineType::surcharge:
      return "surcharge";
    case LineType::cap:
      return "cap";
    case LineType::item:
      return "item";
    case LineType::minimum:
      return "minimum";
    case LineType::discount:
      return "discount";
    case LineType::rounding:
      return "rounding";
  }
  return "spot";
}

namespace {

Quote priced_as_stated(const Job& job, const PriceTable& table, const QuoteOptions& options) {
  check_wanted_items(job, table);
  Quote quote;
  quote.vehicle = job.vehicle;
  quote.notes = job.notes;
  quote.claim_number = job.claim_number;
  quote.quote_number = job.quote_number;
  quote.valid_until = job.valid_until;
  quote.prices_name = table.name;
  quote.prices_note = table.note;
  quote.currency = table.currency;
  quote.policy = table.policy;
  quote.size_by = table.size_by;
  quote.rounding = table.rounding;
  quote.prices_include_tax = table.prices_include_tax;
  quote.hourly_minor = table.hourly_minor;
  quote.photos = job.photos;
  quote.not_measured = not_measured_in(job);
  quote.warnings = warnings_in(job);
  quote.changes = job.changes;
  const CountedOnce once = count_once(job, options.overlap, options.words);
  quote.questions = once.questions;
  for (const CountedSpot& counted : once.spots) quote.spots.push_back(quoted_from(job, counted, table));
  quote.counts = counts_of(quote, table);

  for (const JobPanel& panel : job.panels) add_panel(job, table, panel, quote);
  add_items(job, table, nullptr, quote);
  const std::vector<std::int64_t> off_minor = add_discount(table, options.words, quote);
  add_minimum(table, quote);
  add_tax(table, off_minor, quote);
  add_total(table, quote);
  std::sort(quote.unpriced.begin(), quote.unpriced.end(),
            [](const UnpricedSpot& a, const UnpricedSpot& b) { return a.id < b.id; });
  remark_on_severities(table, options.words, quote);
  remark_on_facts(job, table, options.words, quote);
  return quote;
}

/// The total under another policy, where it is a total of the same spots.
std::optional<std::int64_t> total_under(StraddlePolicy policy, const Job& job, const PriceTable& table,
                                        const QuoteOptions& options, const Quote& quote) {
  if (policy == table.policy) return quote.total_minor;
  PriceTable other_table = table;
  other_table.policy = policy;
  const Quote other = priced_as_stated(job, other_table, options);
  const auto same = [](const UnpricedSpot& a, const UnpricedSpot& b) { return a.id == b.id; };
  if (!std::equal(other.unpriced.begin(), other.unpriced.end(), quote.unpriced.begin(), quote.unpriced.end(),
                  same))
    return std::nullopt;
  return other.total_minor;
}

}  // namespace

Quote make_quote(const Job& job, const PriceTable& table, const QuoteOptions& options) {
  Quote quote = priced_as_stated(job, table, options);
  const bool any_straddles = std::any_of(quote.spots.begin(), quote.spots.end(), [](const QuotedSpot& spot) {
    return spot.low_band || spot.mild_severity;
  });
  if (!any_straddles) return quote;
  quote.total_lower_minor = total_under(StraddlePolicy::lower, job, table, options, quote);
  quote.total_upper_minor = total_under(StraddlePolicy::upper, job, table, options, quote);
  return quote;
}

std::int64_t sum_of(const Quote& quote, LineType type) {
  std::int64_t sum_minor = 0;
  for (const QuoteLine& line : quote.lines)
    if (line.type == type) sum_minor += line.amount_minor;
  return sum_minor;
}

std::int64_t panel_sum(const Quote& quote, const std::string& panel) {
  std::int64_t sum_minor = 0;
  for (const QuoteLine& line : quote.lines)
    if (!line.panel.empty() && line.panel == panel) sum_minor += line.amount_minor;
  return sum_minor;
}

const QuotedSpot& quoted_spot(const Quote& quote, int id) {
  for (const QuotedSpot& spot : quote.spots)
    if (spot.spot.id == id) return spot;
  throw UsageError("the quote has no spot " + std::to_string(id));
}

}  // namespace ripplegauge
