// What a price table must obey, with every breach named, and what looks like a slip in one that obeys.
#include "quote/price_table.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <cmath>
#include <iterator>

#include "quote/job.hpp"

namespace ripplegauge {

namespace {

using Problems = std::vector<TableProblem>;

std::string quoted(const std::string& text) { return "\"" + text + "\""; }

std::string plain_number(double value) {
  std::array<char, 400> text{};
  const auto end = std::to_chars(text.data(), text.data() + text.size(), value).ptr;
  return {text.data(), end};
}

std::string edges_text(double from_mm, double to_mm) {
  return plain_number(from_mm) + " to " + plain_number(to_mm) + " mm";
}

void check_price(const std::string& key, std::optional<std::int64_t> minor, Problems& problems) {
  if (minor && (*minor < 0 || *minor > largest_price_minor))
    problems.push_back({key, std::to_string(*minor) + " minor units",
                        "an amount must be from 0 to " + std::to_string(largest_price_minor)});
}

void check_names(const std::vector<std::string>& names, const std::string& key, Problems& problems) {
  for (std::size_t i = 0; i < names.size(); ++i) {
    if (names[i].empty()) problems.push_back({key, "\"\"", "a name may not be empty"});
    const auto again = [&](const std::string& other) { return same_name(other, names[i]); };
    if (std::any_of(names.begin(), names.begin() + static_cast<std::ptrdiff_t>(i), again))
      problems.push_back({key, quoted(names[i]), "a name may stand only once, whatever its capitals"});
  }
}

template <typename Entries>
std::vector<std::string> names_of(const Entries& entries) {
  std::vector<std::string> names;
  names.reserve(entries.size());
  for (const auto& entry : entries) names.push_back(entry.name);
  return names;
}

void check_bands(const std::vector<SizeBand>& bands, Problems& problems) {
  if (bands.empty()) return problems.push_back({"bands", "[]", "at least one size band is needed"});
  check_names(names_of(bands), "bands", problems);
  for (const SizeBand& band : bands) {
    const std::string key = "bands " + quoted(band.name);
    if (band.name == any_word) problems.push_back({key, quoted(band.name), "\"any\" stands for all bands"});
    if (!std::isfinite(band.from_mm) || band.from_mm < 0 || band.from_mm > 10000)
      return problems.push_back({key, plain_number(band.from_mm), "from_mm must be between 0 and 10000"});
    if (band.to_mm && !(*band.to_mm > band.from_mm && *band.to_mm <= 10000))
      return problems.push_back(
          {key, plain_number(*band.to_mm), "to_mm must be above from_mm, 10000 at most"});
  }
  std::vector<SizeBand> sorted = bands;
  std::stable_sort(sorted.begin(), sorted.end(),
                   [](const SizeBand& a, const SizeBand& b) { return a.from_mm < b.from_mm; });
  const std::string no_price = "every size needs a band";
  if (sorted.front().from_mm > 0)
    problems.push_back({"bands", "without a band for " + edges_text(0, sorted.front().from_mm), no_price});
  for (std::size_t i = 0; i + 1 < sorted.size(); ++i) {
    const SizeBand &band = sorted[i], &next = sorted[i + 1];
    const std::string pair = quoted(band.name) + " and " + quoted(next.name);
    if (!band.to_mm || *band.to_mm > next.from_mm) {
      const double shared_to = std::min(band.to_mm.value_or(10000), next.to_mm.value_or(10000));
      const std::string range = band.to_mm || next.to_mm ? edges_text(next.from_mm, shared_to)
                                                         : edge_text(next.from_mm) + " and more";
      problems.push_back(
          {"bands", "ambiguous: " + pair + " both hold " + range, "every size needs exactly one band"});
    } else if (*band.to_mm < next.from_mm) {
      problems.push_back({"bands",
                          "without a band for " + edges_text(*band.to_mm, next.from_mm) + ", between " + pair,
                          no_price});
    }
  }
  if (std::none_of(bands.begin(), bands.end(), [](const SizeBand& band) { return !band.to_mm; })) {
    double largest_mm = 0;
    for (const SizeBand& band : bands) largest_mm = std::max(largest_mm, *band.to_mm);
    problems.push_back({"bands", "without a band for " + edge_text(largest_mm) + " and more",
                        no_price + "; leave out to_mm of the last one"});
  }
}

std::string row_text(const std::string& band, const std::string& severity) {
  return "band " + quoted(band) + ", severity " + quoted(severity);
}

std::string counts_text(int from, std::optional<int> to) {
  if (!to) return "counts of " + std::to_string(from) + " and more";
  return from == *to ? "a count of " + std::to_string(from)
                     : "counts of " + std::to_string(from) + " to " + std::to_string(*to);
}

/// The rows of one band and severity must hold every count from 1 upwards exactly once.
void check_counts(std::vector<PriceRow> rows, const std::string& where, Problems& problems) {
  std::stable_sort(rows.begin(), rows.end(),
                   [](const PriceRow& a, const PriceRow& b) { return a.count_from < b.count_from; });
  int next = 1;
  for (std::size_t i = 0; i < rows.size(); ++i) {
    const PriceRow& row = rows[i];
    if (row.count_from > next)
      problems.push_back({"prices",
                          "without a price for " + where + ", " + counts_text(next, row.count_from - 1),
                          "every count on a panel needs a price"});
    if (row.count_from < next)
      return problems.push_back(
          {"prices",
           "ambiguous: two rows for " + where + " hold " + counts_text(row.count_from, row.count_from),
           "every count on a panel needs exactly one price"});
    if (!row.count_to) {
      if (i + 1 < rows.size())
        problems.push_back({"prices",
                            "ambiguous: two rows for " + where + " hold " +
                                counts_text(rows[i + 1].count_from, rows[i + 1].count_from),
                            "every count on a panel needs exactly one price"});
      return;
    }
    next = *row.count_to + 1;
  }
  problems.push_back({"prices", "without a price for " + where + ", " + counts_text(next, std::nullopt),
                      "every count on a panel needs a price; leave out count_to of the last row"});
}

bool has(const std::vector<std::string>& names, const std::string& name) {
  return std::find(names.begin(), names.end(), name) != names.end();
}

bool check_row(const PriceTable& table, const PriceRow& row, Problems& problems) {
  const std::size_t before = problems.size();
  const std::string key = "prices (" + row_text(row.band, row.severity) + ")";
  if (row.band != any_word && !has(names_of(table.bands), row.band))
    problems.push_back({key, quoted(row.band), "no size band has this name"});
  if (row.severity != any_word && !has(table.severities, row.severity))
    problems.push_back({key, quoted(row.severity), "it must be \"any\" or one of severities"});
  if (row.count_from < 1)
    problems.push_back({key, std::to_string(row.count_from), "count_from must be at least 1"});
  if (row.count_to && (*row.count_to < row.count_from || *row.count_to > 1'000'000))
    problems.push_back({key, std::to_string(*row.count_to), "count_to must be from count_from to 1000000"});
  check_price(key, row.price_minor, problems);
  if (row.per == Per::job) problems.push_back({key, "\"job\"", "a price is per \"spot\" or per \"panel\""});
  if (row.hours_milli && !table.hourly_minor)
    problems.push_back({key, "hours", "hourly_rate must say what an hour costs"});
  return problems.size() == before;
}

/// Rows that hold for one panel need not hold every size, but for the sizes and grades that they do every
/// count.
void check_panel_rows(const PriceTable& table, const std::string& panel, Problems& problems) {
  std::vector<PriceRow> rows;
  for (const PriceRow& row : table.prices)
    if (same_name(row.panel, panel)) rows.push_back(row);
  const auto count = [&](const auto& holds) { return std::count_if(rows.begin(), rows.end(), holds); };
  const std::string where = "panel " + quoted(panel) + ", ";
  const auto any_bands = count([](const PriceRow& row) { return row.band == any_word; });
  if (any_bands > 0 && any_bands < static_cast<std::ptrdiff_t>(rows.size()))
    return problems.push_back(
        {"prices", "ambiguous: " + where + "band \"any\" beside named ones", "use one or the other"});
  for (const PriceRow& row : rows) {
    const auto same_band = [&](const PriceRow& other) { return other.band == row.band; };
    const auto any_grade = [&](const PriceRow& other) {
      return same_band(other) && other.severity == any_word;
    };
    if (count(any_grade) > 0 && count(any_grade) < count(same_band))
      return problems.push_back(
          {"prices",
           "ambiguous: " + where + "band " + quoted(row.band) + " has severity \"any\" beside named ones",
           "use one or the other"});
  }
  while (!rows.empty()) {
    const PriceRow first = rows.front();
    const auto alike = [&](const PriceRow& row) {
      return row.band == first.band && row.severity == first.severity;
    };
    std::vector<PriceRow> together;
    std::copy_if(rows.begin(), rows.end(), std::back_inserter(together), alike);
    std::erase_if(rows, alike);
    check_counts(together, where + row_text(first.band, first.severity), problems);
  }
}

void check_all_panel_rows(const PriceTable& table, Problems& problems) {
  std::vector<std::string> panels;
  for (const PriceRow& row : table.prices) {
    const auto same = [&](const std::string& panel) { return same_name(panel, row.panel); };
    if (row.panel.empty() || std::any_of(panels.begin(), panels.end(), same)) continue;
    panels.push_back(row.panel);
    check_panel_rows(table, row.panel, problems);
  }
}

void check_prices(const PriceTable& table, Problems& problems) {
  if (table.prices.empty()) return problems.push_back({"prices", "[]", "at least one price is needed"});
  bool rows_good = true;
  for (const PriceRow& row : table.prices) rows_good = check_row(table, row, problems) && rows_good;
  if (!rows_good) return;

  const auto rows_where = [&](const std::string& band, const auto& severity_holds) {
    std::vector<PriceRow> rows;
    for (const PriceRow& row : table.prices)
      if (row.panel.empty() && row.band == band && severity_holds(row.severity)) rows.push_back(row);
    return rows;
  };
  const auto always = [](const std::string&) { return true; };
  const bool any_band = !rows_where(any_word, always).empty();
  const std::vector<std::string> bands =
      any_band ? std::vector<std::string>{any_word} : names_of(table.bands);
  const auto of_all_panels = static_cast<std::size_t>(std::count_if(
      table.prices.begin(), table.prices.end(), [](const PriceRow& row) { return row.panel.empty(); }));
  check_all_panel_rows(table, problems);
  if (any_band && rows_where(any_word, always).size() != of_all_panels)
    return problems.push_back(
        {"prices", "ambiguous: rows for band \"any\" beside rows for a named band", "use one or the other"});

  for (const std::string& band : bands) {
    const auto any_rows = rows_where(band, [](const std::string& severity) { return severity == any_word; });
    if (!any_rows.empty()) {
      if (any_rows.size() != rows_where(band, always).size())
        problems.push_back(
            {"prices", "ambiguous: band " + quoted(band) + " has rows for severity \"any\" beside named ones",
             "use one or the other"});
      else
        check_counts(any_rows, row_text(band, any_word), problems);
      continue;
    }
    if (table.severities.empty())
      problems.push_back({"prices", "without a price for band " + quoted(band), "every band needs a price"});
    for (const std::string& severity : table.severities) {
      if (has(table.beyond_pulling, severity) && !table.price_beyond_pulling) continue;
      const auto rows = rows_where(band, [&](const std::string& named) { return named == severity; });
      if (rows.empty())
        problems.push_back({"prices", "without a price for " + row_text(band, severity),
                            "every band needs a price for every severity, or one for \"any\""});
      else
        check_counts(rows, row_text(band, severity), problems);
    }
  }
}

/// Exactly one of a rate and an amount, both inside their limits.
void check_rate_or_fixed(const std::string& key, std::optional<Rate> rate,
                         std::optional<std::int64_t> fixed_minor, Rate largest, Problems& problems) {
  if (rate.has_value() == fixed_minor.has_value())
    problems.push_back({key, rate ? "both a percentage and an amount" : "neither a percentage nor an amount",
                        "it must be one of the two"});
  if (rate && (rate->ppm < 0 || rate->ppm > largest.ppm))
    problems.push_back(
        {key, percent_text(*rate) + " %", "the percentage must be between 0 and " + percent_text(largest)});
  check_price(key, fixed_minor, problems);
}

void check_surcharges(const PriceTable& table, Problems& problems) {
  check_names(names_of(table.surcharges), "surcharges", problems);
  for (const Surcharge& surcharge : table.surcharges) {
    const std::string key = "surcharges " + quoted(surcharge.name);
    check_rate_or_fixed(key, surcharge.rate, surcharge.fixed_minor, largest_rate, problems);
    if (surcharge.fact.empty()) problems.push_back({key, "\"\"", "fact must say what it is charged for"});
    if (surcharge.per == Per::job)
      problems.push_back({key, "\"job\"", "it is per \"spot\" or per \"panel\""});
  }
}

void check_caps_and_items(const PriceTable& table, Problems& problems) {
  for (std::size_t i = 0; i < table.caps.size(); ++i) {
    const PanelCap& cap = table.caps[i];
    const std::string key = cap.panel.empty() ? "caps (every other panel)" : "caps " + quoted(cap.panel);
    const auto again = [&](const PanelCap& other) { return same_name(other.panel, cap.panel); };
    if (std::any_of(table.caps.begin(), table.caps.begin() + static_cast<std::ptrdiff_t>(i), again))
      problems.push_back({key, "there twice", "a panel has one cap"});
    check_price(key, cap.amount_minor, problems);
  }
  check_names(names_of(table.items), "items", problems);
  for (const FixedItem& item : table.items) {
    const std::string key = "items " + quoted(item.name);
    check_price(key, item.price_minor, problems);
    if (item.per == Per::spot)
      problems.push_back({key, "\"spot\"", "an item is per \"panel\" or per \"job\""});
    if (item.hours_milli && !table.hourly_minor)
      problems.push_back({key, "hours", "hourly_rate must say what an hour costs"});
    if (item.always && !item.fact.empty())
      problems.push_back({key, quoted(item.fact), "an item that is charged always needs no fact"});
  }
}

}  // namespace

std::vector<TableProblem> problems_of(const PriceTable& table) {
  Problems problems;
  if (table.currency.decimals < 0 || table.currency.decimals > 4)
    problems.push_back({"currency", std::to_string(table.currency.decimals), "decimals must be from 0 to 4"});
  check_names(table.severities, "severities", problems);
  if (has(table.severities, any_word))
    problems.push_back({"severities", quoted(any_word), "\"any\" stands for all of them"});
  for (const std::string& grade : table.beyond_pulling)
    if (!has(table.severities, grade))
      problems.push_back({"beyond_pulling", quoted(grade), "it must be one of severities"});
  check_bands(table.bands, problems);
  if (problems.empty()) check_prices(table, problems);
  check_surcharges(table, problems);
  check_caps_and_items(table, problems);
  if (table.discount)
    check_rate_or_fixed("discount", table.discount->rate, table.discount->fixed_minor, whole, problems);
  for (const PanelDiscount& one : table.panel_discounts) {
    const std::string key = "panel_discounts " + quoted(one.panel);
    if (one.panel.empty()) problems.push_back({key, "\"\"", "it must name its panel"});
    const auto again =
        std::count_if(table.panel_discounts.begin(), table.panel_discounts.end(),
                      [&](const PanelDiscount& other) { return same_name(other.panel, one.panel); });
    if (again > 1) problems.push_back({key, "there twice", "a panel has one discount"});
    check_rate_or_fixed(key, one.discount.rate, one.discount.fixed_minor, whole, problems);
  }
  check_price("minimum", table.minimum_minor, problems);
  check_price("hourly_rate", table.hourly_minor, problems);
  if (table.second_tax && !table.tax)
    problems.push_back({"second_tax", quoted(table.second_tax->name), "a second tax needs a first one"});
  if (table.second_tax && (table.second_tax->rate.ppm < 0 || table.second_tax->rate.ppm > whole.ppm))
    problems.push_back(
        {"second_tax", percent_text(table.second_tax->rate) + " %", "percent must be between 0 and 100"});
  if (table.prices_include_tax && !table.tax)
    problems.push_back({"prices_include_tax", "true", "a tax must say which one they include"});
  if (table.tax && (table.tax->rate.ppm < 0 || table.tax->rate.ppm > whole.ppm))
    problems.push_back({"tax", percent_text(table.tax->rate) + " %", "percent must be between 0 and 100"});
  if (table.rounding.cash_step_minor < 1)
    problems.push_back({"rounding", std::to_string(table.rounding.cash_step_minor),
                        "cash_step must be at least one minor unit"});
  check_price("rounding", table.rounding.cash_step_minor, problems);
  return problems;
}

std::int64_t price_of_hours(std::int64_t hourly_minor, int hours_milli, RoundingMode mode) {
  constexpr std::int64_t milli = 1000;
  const std::int64_t whole_hours = hours_milli / milli;
  return add_minor(hourly_minor * whole_hours, scaled_minor(hourly_minor, hours_milli % milli, milli, mode));
}

namespace {

std::string amount_text(const PriceTable& table, std::int64_t minor) {
  return decimal_from_minor(minor, table.currency.decimals);
}

std::string row_name(const PriceRow& row) {
  return (row.panel.empty() ? "" : "panel " + quoted(row.panel) + ", ") + row_text(row.band, row.severity);
}

/// What `count` spots of this row cost.
std::int64_t cost_of(const PriceRow& row, int count) {
  return row.per == Per::spot ? add_minor(*row.price_minor * count, 0) : *row.price_minor;
}

/// One more spot makes them all cheaper together.
void warn_of_count_steps(const PriceTable& table, std::vector<std::string>& warnings) {
  for (const PriceRow& row : table.prices)
    for (const PriceRow& next : table.prices) {
      if (next.band != row.band || next.severity != row.severity || !same_name(next.panel, row.panel))
        continue;
      if (!row.count_to || next.count_from != *row.count_to + 1) continue;
      if (!row.price_minor || !next.price_minor) continue;
      const std::int64_t fewer = cost_of(row, *row.count_to), more = cost_of(next, next.count_from);
      if (more < fewer)
        warnings.push_back(row_name(row) + ": " + std::to_string(*row.count_to) + " spots cost " +
                           amount_text(table, fewer) + ", " + std::to_string(next.count_from) +
                           " cost less, " + amount_text(table, more) + ".");
    }
}

/// The row next in size, or next in grade, is cheaper, other things alike.
void warn_of_order(const PriceTable& table, std::vector<std::string>& warnings) {
  std::vector<SizeBand> bands = table.bands;
  std::stable_sort(bands.begin(), bands.end(),
                   [](const SizeBand& a, const SizeBand& b) { return a.from_mm < b.from_mm; });
  const auto place = [](const auto& names, const std::string& name) {
    return std::find(names.begin(), names.end(), name) - names.begin();
  };
  const std::vector<std::string> sizes = names_of(bands);
  for (const PriceRow& row : table.prices)
    for (const PriceRow& worse : table.prices) {
      if (!row.price_minor || !worse.price_minor || row.per != worse.per) continue;
      if (row.count_from != worse.count_from || !same_name(row.panel, worse.panel)) continue;
      const auto larger = place(sizes, worse.band) - place(sizes, row.band);
      const auto graver = place(table.severities, worse.severity) - place(table.severities, row.severity);
      const bool next_size = larger == 1 && graver == 0, next_grade = larger == 0 && graver == 1;
      if ((next_size || next_grade) && *worse.price_minor < *row.price_minor)
        warnings.push_back(row_name(worse) + " costs " + amount_text(table, *worse.price_minor) +
                           ", less than " + row_name(row) + ", " + amount_text(table, *row.price_minor) +
                           ".");
    }
}

}  // namespace

std::vector<std::string> warnings_of(const PriceTable& table) {
  std::vector<std::string> warnings;
  warn_of_count_steps(table, warnings);
  warn_of_order(table, warnings);
  return warnings;
}

const char* to_string(StraddlePolicy policy) {
  switch (policy) {
    case StraddlePolicy::nearest:
      return "nearest";
    case StraddlePolicy::lower:
      return "lower";
    case StraddlePolicy::upper:
      return "upper";
  }
  return "nearest";
}

const char* to_string(SizeMeasure measure) {
  return measure == SizeMeasure::diameter ? "diameter" : "length";
}

const char* to_string(Per per) {
  switch (per) {
    case Per::spot:
      return "spot";
    case Per::panel:
      return "panel";
    case Per::job:
      return "job";
  }
  return "spot";
}

const char* to_string(SurchargeBase base) { return base == SurchargeBase::price ? "price" : "running"; }

const char* to_string(RoundingPlace place) { return place == RoundingPlace::once ? "once" : "per_line"; }

std::string edge_text(double edge_mm) { return plain_number(edge_mm) + " mm"; }

std::string range_text(const SizeBand& band, const Wording& words) {
  const std::string from = words.with_decimal_mark(plain_number(band.from_mm));
  if (!band.to_mm) return words("quote.range_open", {{"from", from}});
  return words("quote.range", {{"from", from}, {"to", words.with_decimal_mark(plain_number(*band.to_mm))}});
}

}  // namespace ripplegauge
