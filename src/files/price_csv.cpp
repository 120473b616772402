// A price file made with a spreadsheet. One table holds everything; the first column says what a row is:
//
//   row        name         value       from_mm to_mm severity count_from count_to price  per percent of fact
//   setting    currency     EUR
//   severity   light
//   severity   torn         beyond
//   band       small                    0       20
//   price      small                                  light    1          5        45.00  spot
//   surcharge  aluminium                                                                      25      price
//   aluminium cap        roof                                                                600.00 item
//   call-out     always                                                 40.00  job discount   trade 5 tax VAT
//   19
//
// Columns may stand in any order, and those that nobody needs may be left out. Numbers may have a decimal
// comma where the columns are separated by semicolons or tabs, as spreadsheets of many countries write them.
#include <algorithm>
#include <map>
#include <set>

#include "price_rules.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/core/joined.hpp"
#include "ripplegauge/files/csv.hpp"
#include "ripplegauge/files/price_file.hpp"
#include "ripplegauge/json/json_reader.hpp"
#include "ripplegauge/json/shown.hpp"
#include "ripplegauge/quote/display.hpp"
#include "ripplegauge/words/text.hpp"

namespace ripplegauge {

namespace {

const std::vector<std::string> known_columns = {"row",      "name",       "value",    "from_mm", "to_mm",
                                                "severity", "count_from", "count_to", "price",   "per",
                                                "percent",  "of",         "fact"};

char separator_of(std::string_view text) {
  const std::string_view header = text.substr(0, text.find('\n'));
  for (const char separator : {'\t', ';'})
    if (header.find(separator) != std::string_view::npos) return separator;
  return ',';
}

/// One row, cell by cell; an error names file, line, column, value and rule. Cells that nobody asked for must
/// be empty: a price in the wrong column is a mistake, not a remark.
class Cells {
 public:
  Cells(const std::string& file, const std::map<std::string, std::size_t>& columns, const CsvRow& row,
        bool decimal_comma)
      : file_(file), columns_(columns), row_(row), decimal_comma_(decimal_comma) {}

  std::string text(const std::string& column) {
    asked_.insert(column);
    const auto found = columns_.find(column);
    std::string value = found == columns_.end() ? "" : trimmed(row_.fields[found->second]);
    const std::size_t longest = column == "name" ? longest_name : TextRule{}.max_bytes;
    if (value.size() > longest)
      fail(column, "it must not be longer than " + std::to_string(longest) + " bytes");
    return value;
  }
  std::string required(const std::string& column) {
    std::string value = text(column);
    if (value.empty()) fail(column, "it must not be empty");
    return value;
  }
  bool empty() const {
    return std::all_of(row_.fields.begin(), row_.fields.end(),
                       [](const std::string& field) { return trimmed(field).empty(); });
  }

  /// A decimal as a whole number of its last place.
  std::optional<std::int64_t> scaled(const std::string& column, int decimals, const std::string& what) {
    std::string value = text(column);
    if (value.empty()) return std::nullopt;
    if (what == "a percentage" && value.ends_with('%')) value = trimmed(value.substr(0, value.size() - 1));
    if (decimal_comma_) std::replace(value.begin(), value.end(), ',', '.');
    const auto number = minor_from_decimal(value, decimals);
    if (!number || *number < 0)
      fail(column, "it must be " + what + " from 0 with at most " + std::to_string(decimals) +
                       " decimals, without thousands separators");
    return number;
  }
  std::optional<std::int64_t> amount(const std::string& column, const Currency& currency) {
    return scaled(column, currency.decimals, "an amount");
  }
  std::optional<Rate> rate() {
    const auto ppm = scaled("percent", percent_decimals, "a percentage");
    return ppm ? std::optional(Rate{*ppm}) : std::nullopt;
  }
  std::optional<double> millimetres(const std::string& column) {
    constexpr int decimals = 3;
    const auto microns = scaled(column, decimals, "a size in mm");
    return microns ? std::optional(static_cast<double>(*microns) / 1000.0) : std::nullopt;
  }
  std::optional<int> count(const std::string& column) {
    const auto number = scaled(column, 0, "a whole number");
    if (!number) return std::nullopt;
    if (*number < 1 || *number > 1'000'000) fail(column, "it must be a whole number from 1 to 1000000");
    return static_cast<int>(*number);
  }
  template <class T>
  T choice(const std::string& column, std::initializer_list<T> values, T otherwise) {
    const std::string word = text(column);
    if (word.empty()) return otherwise;
    const auto value = value_of_word(word, values);
    if (!value) fail(column, "it must be one of: " + joined(words_of(values)));
    return *value;
  }
  /// A cell that is empty or holds this one word.
  bool is_marked(const std::string& column, const std::string& word) {
    const std::string value = text(column);
    if (!value.empty() && value != word) fail(column, "it must be empty or: " + word);
    return !value.empty();
  }

  /// A place for one more in a list that holds so many at most.
  template <class T>
  T& added_to(std::vector<T>& list, std::size_t most) const {
    if (list.size() == most)
      fail("row", "there may be " + std::to_string(most) + " rows of this kind at most");
    return list.emplace_back();
  }

  void finish() const {
    for (const auto& [column, place] : columns_)
      if (!asked_.contains(column) && !trimmed(row_.fields[place]).empty())
        fail(column, "rows of this kind have nothing there");
  }
  [[noreturn]] void fail(const std::string& column, const std::string& rule) const {
    const auto found = columns_.find(column);
    const std::string value = found == columns_.end() ? "" : shown(trimmed(row_.fields[found->second]));
    throw ConfigError(file_, "line " + std::to_string(row_.line) + ", " + column, "\"" + value + "\"", rule);
  }

 private:
  const std::string& file_;
  const std::map<std::string, std::size_t>& columns_;
  const CsvRow& row_;
  bool decimal_comma_;
  std::set<std::string> asked_;
};

std::map<std::string, std::size_t> columns_from(const CsvRow& header, const std::string& file) {
  std::map<std::string, std::size_t> columns;
  for (std::size_t i = 0; i < header.fields.size(); ++i) {
    const std::string name = trimmed(header.fields[i]);
    if (name.empty()) continue;  // spreadsheets like to add empty columns
    if (std::find(known_columns.begin(), known_columns.end(), name) == known_columns.end())
      throw ConfigError(file, "line 1", "\"" + shown(name) + "\"", "columns are: " + joined(known_columns));
    if (!columns.emplace(name, i).second)
      throw ConfigError(file, "line 1", "\"" + name + "\" twice", "a column may stand only once");
  }
  for (const char* needed : {"row", "name"})
    if (!columns.contains(needed))
      throw ConfigError(file, "line 1", "without \"" + std::string(needed) + "\"",
                        "a price table has at least the columns row and name");
  return columns;
}

/// Amounts cannot be read before it is known how many decimals they have.
void require_currency(const PriceTable& table, const Cells& cells) {
  if (table.currency.code.empty())
    cells.fail("row", "a row \"setting\" with the name \"currency\" must stand before it");
}

using Setting = void (*)(PriceTable&, Cells&);

std::vector<std::string> names_of(const std::map<std::string, Setting>& all) {
  std::vector<std::string> names;
  names.reserve(all.size());
  for (const auto& [name, set] : all) names.push_back(name);
  return names;
}

void set_currency(PriceTable& table, Cells& cells) {
  table.currency.code = cells.required("value");
  if (!is_known_currency(table.currency.code))
    cells.fail("value", "it must be the three letters of a currency (ISO 4217), such as EUR");
  table.currency.decimals = decimals_of_currency(table.currency.code);
}

/// What a row "setting" may set. The cash step is an amount and is read with the other amounts.
const std::map<std::string, Setting> settings = {
    {"name", [](PriceTable& table, Cells& cells) { table.name = cells.text("value"); }},
    {"note", [](PriceTable& table, Cells& cells) { table.note = cells.text("value"); }},
    {"currency", set_currency},
    {"locale", [](PriceTable& table, Cells& cells) { table.locale = cells.text("value"); }},
    {"size_by", [](PriceTable& table,
                   Cells& cells) { table.size_by = cells.choice("value", size_measures, table.size_by); }},
    {"straddle",
     [](PriceTable& table, Cells& cells) { table.policy = cells.choice("value", policies, table.policy); }},
    {"rounding_mode",
     [](PriceTable& table, Cells& cells) {
       table.rounding.mode = cells.choice("value", rounding_modes, table.rounding.mode);
     }},
    {"rounding_place",
     [](PriceTable& table, Cells& cells) {
       table.rounding.place = cells.choice("value", rounding_places, table.rounding.place);
     }},
    {"cash_step",
     [](PriceTable& table, Cells& cells) {
       require_currency(table, cells);
       table.rounding.cash_step_minor = cells.amount("value", table.currency).value_or(1);
     }},
    {"beyond_pulling_priced",
     [](PriceTable& table, Cells& cells) { table.price_beyond_pulling = cells.is_marked("value", "yes"); }},
};

void read_setting(PriceTable& table, Cells& cells) {
  const auto found = settings.find(cells.required("name"));
  if (found == settings.end()) cells.fail("name", "settings are: " + joined(names_of(settings)));
  found->second(table, cells);
}

void read_severity(PriceTable& table, Cells& cells) {
  cells.added_to(table.severities, most_severities) = cells.required("name");
  if (cells.is_marked("value", "beyond")) table.beyond_pulling.push_back(table.severities.back());
}

void read_band(PriceTable& table, Cells& cells) {
  SizeBand& band = cells.added_to(table.bands, most_bands);
  band.name = cells.required("name");
  const auto from_mm = cells.millimetres("from_mm");
  if (!from_mm) cells.fail("from_mm", "it must be a size in mm");
  band.from_mm = *from_mm;
  band.to_mm = cells.millimetres("to_mm");
}

void read_price(PriceTable& table, Cells& cells) {
  PriceRow& row = cells.added_to(table.prices, most_prices);
  row.band = cells.required("name");
  if (const std::string severity = cells.text("severity"); !severity.empty()) row.severity = severity;
  row.count_from = cells.count("count_from").value_or(1);
  row.count_to = cells.count("count_to");
  if (cells.required("price") != "on request") row.price_minor = cells.amount("price", table.currency);
  row.per = cells.choice("per", {Per::spot, Per::panel}, Per::spot);
}

void read_surcharge(PriceTable& table, Cells& cells) {
  Surcharge& surcharge = cells.added_to(table.surcharges, most_extras);
  surcharge.name = cells.required("name");
  surcharge.fact = cells.text("fact");
  if (surcharge.fact.empty()) surcharge.fact = surcharge.name;
  surcharge.rate = cells.rate();
  surcharge.fixed_minor = cells.amount("price", table.currency);
  if (surcharge.rate) surcharge.of = cells.choice("of", surcharge_bases, surcharge.of);
  if (surcharge.fixed_minor) surcharge.per = cells.choice("per", {Per::spot, Per::panel}, surcharge.per);
}

void read_cap(PriceTable& table, Cells& cells) {
  cells.required("price");
  cells.added_to(table.caps, most_extras) = {cells.text("name"), *cells.amount("price", table.currency)};
}

void read_item(PriceTable& table, Cells& cells) {
  FixedItem& item = cells.added_to(table.items, most_extras);
  item.name = cells.required("name");
  cells.required("price");
  item.price_minor = *cells.amount("price", table.currency);
  item.per = cells.choice("per", {Per::panel, Per::job}, Per::panel);
  item.fact = cells.text("fact");
  item.always = cells.is_marked("value", "always");
}

void read_discount(PriceTable& table, Cells& cells) {
  if (table.discount) cells.fail("row", "there is one discount at most");
  table.discount = Discount{cells.required("name"), cells.rate(), cells.amount("price", table.currency)};
}

void read_tax(PriceTable& table, Cells& cells) {
  if (table.tax) cells.fail("row", "there is one tax at most");
  const std::string name = cells.required("name");
  cells.required("percent");
  table.tax = Tax{name, *cells.rate()};
}

const std::map<std::string, Setting> row_kinds = {
    {"setting", read_setting},     {"severity", read_severity}, {"band", read_band},
    {"price", read_price},         {"cap", read_cap},           {"item", read_item},
    {"surcharge", read_surcharge}, {"discount", read_discount}, {"tax", read_tax}};

void read_row(PriceTable& table, Cells& cells) {
  const std::string kind = cells.text("row");
  const auto found = row_kinds.find(kind);
  if (found == row_kinds.end()) cells.fail("row", "rows are: " + joined(names_of(row_kinds)));
  if (kind != "setting") require_currency(table, cells);
  found->second(table, cells);
}

}  // namespace

PriceTable prices_from_csv(std::string_view text, const std::string& name) {
  if (!is_utf8(text))
    throw FileError(name, "is not UTF-8 text; save it from the spreadsheet as \"CSV UTF-8\"");
  const char separator = separator_of(text);
  const std::vector<CsvRow> rows = parse_csv(text, name, separator);
  if (rows.empty()) throw FileError(name, "is empty; it must hold a table of prices");
  const auto columns = columns_from(rows.front(), name);
  PriceTable table;
  std::set<std::string> set_already;
  for (std::size_t i = 1; i < rows.size(); ++i) {
    Cells cells(name, columns, rows[i], separator != ',');
    if (cells.empty()) continue;
    if (cells.text("row") == "setting" && !set_already.insert(cells.text("name")).second)
      cells.fail("name", "a setting may stand only once");
    read_row(table, cells);
    cells.finish();
  }
  if (table.currency.code.empty()) throw FileError(name, "has no row \"setting\" with the name \"currency\"");
  check_prices(table, name);
  return table;
}

}  // namespace ripplegauge
