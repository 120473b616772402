// A price file made with a spreadsheet. One table holds everything; the first column says what a row is:
//
//   row       name      value  from_mm to_mm severity count_from count_to price  per  percent of    fact
//   setting   currency  EUR
//   severity  light
//   severity  torn      beyond
//   band      small            0       20
//   price     small                          light    1          5        45.00  spot
//   surcharge aluminium                                                               25      price aluminium
//   cap       roof                                                        600.00
//   item      call-out  always                                            40.00  job
//   discount  trade                                                                   5
//   tax       VAT                                                                     19
//
// Columns may stand in any order, and those that nobody needs may be left out. It is read as people make it:
// title rows above the table, capitals in the headings, columns for remarks, currency signs, thousands
// separators, UTF-16. Numbers may have a decimal comma where the columns are separated by semicolons or tabs,
// as spreadsheets of many countries write them; a number that could be read in two ways is refused.
#include <algorithm>
#include <iterator>
#include <map>
#include <set>
#include <sstream>

#include "core/joined.hpp"
#include "files/csv.hpp"
#include "files/price_file.hpp"
#include "json/shown.hpp"
#include "price_rules.hpp"
#include "quote/display.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/json/json_reader.hpp"
#include "words/text.hpp"

namespace ripplegauge {

namespace {

const std::vector<std::string> known_columns = {"row",      "name",       "value",    "from_mm", "to_mm",
                                                "severity", "count_from", "count_to", "price",   "per",
                                                "percent",  "of",         "fact",     "panel",   "hours"};
/// Headings of columns in which people write what they like.
const std::vector<std::string> remark_columns = {"comment", "comments", "remark", "remarks", "note", "notes"};

/// A line such as "sep=;", by which spreadsheets tell one another, goes before what the lines look like.
char take_separator(std::string_view& text) {
  constexpr std::string_view byte_order_mark = "\xEF\xBB\xBF", said = "sep=";
  if (text.starts_with(byte_order_mark)) text.remove_prefix(byte_order_mark.size());
  const std::string_view first = text.substr(0, text.find('\n'));
  if (lower_case(first.substr(0, said.size())) == said && first.size() > said.size()) {
    const char separator = first[said.size()];
    text.remove_prefix(std::min(text.size(), first.size() + 1));
    return separator;
  }
  // Where the table begins is not known yet: what most lines have.
  for (const char separator : {'\t', ';'})
    if (std::count(text.begin(), text.end(), separator) > std::count(text.begin(), text.end(), '\n'))
      return separator;
  return ',';
}

/// UTF-8 from UTF-16 with its byte order mark; anything else as it is.
std::string as_utf8(std::string_view text) {
  const bool little = text.starts_with("\xFF\xFE"), big = text.starts_with("\xFE\xFF");
  return little || big ? utf8_from_utf16(text.substr(2), big) : std::string(text);
}

bool is_header(const CsvRow& row) {
  std::set<std::string> names;
  for (const std::string& field : row.fields) names.insert(lower_case(trimmed(field)));
  return names.contains("row") && names.contains("name");
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
    if (what == "an amount") value = without_currency(value);
    if (is_ambiguous(value))
      fail(column, "it can be read in two ways; write it without thousands separators, or with decimals");
    value = with_plain_digits(value);
    const auto number = minor_from_decimal(value, decimals);
    if (!number || *number < 0)
      fail(column, "it must be " + what + " from 0 with at most " + std::to_string(decimals) +
                       " decimals, without thousands separators");
    return number;
  }
  std::optional<std::int64_t> amount(const std::string& column, const Currency& currency) {
    currency_code_ = currency.code;
    return scaled(column, currency.decimals, "an amount");
  }
  std::optional<Rate> rate() {
    const auto ppm = scaled("percent", percent_decimals, "a percentage");
    return ppm ? std::optional(Rate{*ppm}) : std::nullopt;
  }
  std::optional<int> hours_milli() {
    const auto milli = scaled("hours", 3, "a number of hours");
    if (milli && *milli > 1'000'000) fail("hours", "it must be 1000 at most");
    return milli ? std::optional(static_cast<int>(*milli)) : std::nullopt;
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
    const std::string word = lower_case(text(column));
    if (word.empty()) return otherwise;
    const auto value = value_of_word(word, values);
    if (!value) fail(column, "it must be one of: " + joined(words_of(values)));
    return *value;
  }
  /// Whether the words of a cell, all among `known`, hold this one.
  bool has_word(const std::string& column, const std::string& word, const std::vector<std::string>& known) {
    bool found = false;
    std::istringstream words(lower_case(text(column)));
    for (std::string one; words >> one;) {
      if (std::find(known.begin(), known.end(), one) == known.end())
        fail(column, "it must be empty or: " + joined(known));
      found = found || one == word;
    }
    return found;
  }

  /// A cell that is empty or holds this one word.
  bool is_marked(const std::string& column, const std::string& word) {
    const std::string value = text(column);
    if (!value.empty() && lower_case(value) != word) fail(column, "it must be empty or: " + word);
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
  /// Without the currency's letters or a sign before or behind the number.
  std::string without_currency(std::string value) const {
    for (const std::string& sign : {currency_code_, std::string("€"), std::string("$"), std::string("£"),
                                    std::string("¥"), std::string("Fr."), std::string("kr")}) {
      if (value.starts_with(sign)) value = trimmed(value.substr(sign.size()));
      if (value.ends_with(sign)) value = trimmed(value.substr(0, value.size() - sign.size()));
    }
    return value;
  }

  /// "1.234" in a file with decimal commas: a thousand, or a bit more than one?
  bool is_ambiguous(const std::string& value) const {
    if (!decimal_comma_ || std::count(value.begin(), value.end(), '.') != 1) return false;
    const std::size_t point = value.find('.');
    return value.find(',') == std::string::npos && value.size() - point == 4 && point <= 3 && value[0] != '0';
  }

  /// Thousands separators taken out where they stand before groups of three digits; a decimal point at last.
  std::string with_plain_digits(std::string value) const {
    for (const std::string& space : {std::string(" "), std::string("\u00A0"), std::string("\u202F"),
                                     std::string("'"), std::string("\u2019")})
      for (auto at = value.find(space); at != std::string::npos; at = value.find(space))
        value.erase(at, space.size());
    const auto last_comma = value.rfind(','), last_point = value.rfind('.');
    const bool both = last_comma != std::string::npos && last_point != std::string::npos;
    const char decimal = both ? (last_comma > last_point ? ',' : '.') : decimal_comma_ ? ',' : '.';
    const char thousands = decimal == ',' ? '.' : ',';
    if (groups_of_three(value, thousands, decimal)) std::erase(value, thousands);
    if (decimal_comma_ || both) std::replace(value.begin(), value.end(), ',', '.');
    return value;
  }

  static bool groups_of_three(const std::string& value, char thousands, char decimal) {
    const std::string whole_part = value.substr(0, value.find(decimal));
    std::size_t at = whole_part.find(thousands);
    if (at == std::string::npos || at == 0 || at > 3) return false;
    for (; at != std::string::npos; at = whole_part.find(thousands, at + 1)) {
      const std::size_t next = std::min(whole_part.find(thousands, at + 1), whole_part.size());
      if (next - at != 4) return false;
    }
    return true;
  }

  const std::string& file_;
  const std::map<std::string, std::size_t>& columns_;
  const CsvRow& row_;
  bool decimal_comma_;
  std::string currency_code_;
  std::set<std::string> asked_;
};

std::map<std::string, std::size_t> columns_from(const CsvRow& header, const std::string& file) {
  std::map<std::string, std::size_t> columns;
  const std::string line = "line " + std::to_string(header.line);
  for (std::size_t i = 0; i < header.fields.size(); ++i) {
    const std::string name = lower_case(trimmed(header.fields[i]));
    if (name.empty()) continue;  // spreadsheets like to add empty columns
    if (std::find(remark_columns.begin(), remark_columns.end(), name) != remark_columns.end()) continue;
    if (std::find(known_columns.begin(), known_columns.end(), name) == known_columns.end())
      throw ConfigError(file, line, "\"" + shown(name) + "\"",
                        "columns are: " + joined(known_columns) + "; comment is passed over");
    if (!columns.emplace(name, i).second)
      throw ConfigError(file, line, "\"" + name + "\" twice", "a column may stand only once");
  }
  for (const char* needed : {"row", "name"})
    if (!columns.contains(needed))
      throw ConfigError(file, line, "without \"" + std::string(needed) + "\"",
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
  for (char& c : table.currency.code)
    if (c >= 'a' && c <= 'z') c = static_cast<char>(c - 'a' + 'A');
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
    {"minimum",
     [](PriceTable& table, Cells& cells) {
       require_currency(table, cells);
       table.minimum_minor = cells.amount("value", table.currency);
     }},
    {"hourly_rate",
     [](PriceTable& table, Cells& cells) {
       require_currency(table, cells);
       table.hourly_minor = cells.amount("value", table.currency);
     }},
    {"prices_include_tax",
     [](PriceTable& table, Cells& cells) { table.prices_include_tax = cells.is_marked("value", "yes"); }},
    {"beyond_pulling_priced",
     [](PriceTable& table, Cells& cells) { table.price_beyond_pulling = cells.is_marked("value", "yes"); }},
};

void read_setting(PriceTable& table, Cells& cells) {
  const auto found = settings.find(lower_case(cells.required("name")));
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
  row.panel = cells.text("panel");
  row.hours_milli = cells.hours_milli();
  if (row.hours_milli && !cells.text("price").empty()) cells.fail("price", "a row has a price or hours");
  if (!row.hours_milli && lower_case(cells.required("price")) != "on request")
    row.price_minor = cells.amount("price", table.currency);
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
  item.hours_milli = cells.hours_milli();
  if (item.hours_milli && !cells.text("price").empty()) cells.fail("price", "an item has a price or hours");
  if (!item.hours_milli) {
    cells.required("price");
    item.price_minor = *cells.amount("price", table.currency);
  }
  item.per = cells.choice("per", {Per::panel, Per::job}, Per::panel);
  item.fact = cells.text("fact");
  item.always = cells.has_word("value", "always", {"always", "untaxed"});
  item.untaxed = cells.has_word("value", "untaxed", {"always", "untaxed"});
}

void read_discount(PriceTable& table, Cells& cells) {
  Discount discount{cells.required("name"), cells.rate(), cells.amount("price", table.currency)};
  if (const std::string panel = cells.text("panel"); !panel.empty()) {
    cells.added_to(table.panel_discounts, most_extras) = {panel, discount};
    return;
  }
  if (table.discount) cells.fail("row", "there is one discount at most for the whole job");
  table.discount = discount;
}

void read_tax(PriceTable& table, Cells& cells) {
  if (table.second_tax) cells.fail("row", "there are two taxes at most");
  const std::string name = cells.required("name");
  cells.required("percent");
  Tax tax{name, *cells.rate()};
  if (table.tax)
    tax.on_first = cells.choice("of", surcharge_bases, SurchargeBase::price) == SurchargeBase::running;
  (table.tax ? table.second_tax : table.tax) = tax;
}

const std::map<std::string, Setting> row_kinds = {
    {"setting", read_setting},     {"severity", read_severity}, {"band", read_band},
    {"price", read_price},         {"cap", read_cap},           {"item", read_item},
    {"surcharge", read_surcharge}, {"discount", read_discount}, {"tax", read_tax}};

void read_row(PriceTable& table, Cells& cells) {
  const std::string kind = lower_case(cells.text("row"));
  const auto found = row_kinds.find(kind);
  if (found == row_kinds.end()) cells.fail("row", "rows are: " + joined(names_of(row_kinds)));
  if (kind != "setting") require_currency(table, cells);
  found->second(table, cells);
}

}  // namespace

PriceTable prices_from_csv(std::string_view bytes, const std::string& name) {
  const std::string whole_text = as_utf8(bytes);
  std::string_view text = whole_text;
  if (!is_utf8(text))
    throw FileError(name, "is not UTF-8 text; save it from the spreadsheet as \"CSV UTF-8\"");
  const char separator = take_separator(text);
  std::vector<CsvRow> rows = parse_csv_of_any_width(text, name, separator);
  if (rows.empty()) throw FileError(name, "is empty; it must hold a table of prices");
  auto header = std::find_if(rows.begin(), rows.end(), is_header);
  if (header == rows.end()) header = rows.begin();
  const auto columns = columns_from(*header, name);
  const std::size_t width = header->fields.size();
  PriceTable table;
  std::set<std::string> set_already;
  for (auto row = std::next(header); row != rows.end(); ++row) {
    while (row->fields.size() > width && trimmed(row->fields.back()).empty()) row->fields.pop_back();
    if (row->fields.size() > width)
      throw FileError(name, "line " + std::to_string(row->line) + " has " +
                                std::to_string(row->fields.size()) + " fields, but the headings are " +
                                std::to_string(width));
    row->fields.resize(width);
    Cells cells(name, columns, *row, separator != ',');
    if (cells.empty()) continue;
    if (lower_case(cells.text("row")) == "setting" &&
        !set_already.insert(lower_case(cells.text("name"))).second)
      cells.fail("name", "a setting may stand only once");
    read_row(table, cells);
    cells.finish();
  }
  if (table.currency.code.empty()) throw FileError(name, "has no row \"setting\" with the name \"currency\"");
  price_the_hours(table);
  check_prices(table, name);
  return table;
}

}  // namespace ripplegauge
