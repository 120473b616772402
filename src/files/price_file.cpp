// Price files as JSON, both ways. The form as a table of a spreadsheet is read in price_csv.cpp.
#include "files/price_file.hpp"

#include <algorithm>

#include "json/json_write.hpp"
#include "json/read_bytes.hpp"
#include "price_rules.hpp"
#include "quote/display.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/json/json_reader.hpp"

namespace ripplegauge {

namespace {

constexpr int schema = 1;
constexpr std::size_t most_bytes = 4u << 20;  // ten thousand rows have about one megabyte
constexpr TextRule name_rule{.min_bytes = 1, .max_bytes = longest_name};
constexpr CountRule severity_rule{.max = most_severities}, extra_rule{.max = most_extras};
const NumberRule count_rule = between(1, 1'000'000);

template <class T>
T choice(ObjectReader& object, std::string_view key, std::initializer_list<T> values, T otherwise) {
  const auto word = object.optional_choice(key, words_of(values));
  return word ? *value_of_word(*word, values) : otherwise;
}

std::string text_or(ObjectReader& object, std::string_view key, const std::string& otherwise) {
  return object.optional<std::string>(key).value_or(otherwise);
}

/// An amount in minor units, if the key is there.
std::optional<std::int64_t> amount_from(ObjectReader& object, std::string_view key,
                                        const Currency& currency) {
  const auto number = object.optional<double>(key);
  if (!number) return std::nullopt;
  const auto minor = minor_from_double(*number, currency.decimals);
  if (!minor || *minor < 0 || *minor > largest_price_minor)
    object.fail(key, "it must be an amount from 0 with at most " + std::to_string(currency.decimals) +
                         " decimals, " + decimal_from_minor(largest_price_minor, currency.decimals) +
                         " at most");
  return minor;
}

std::int64_t required_amount(ObjectReader& object, std::string_view key, const Currency& currency) {
  object.require(key);
  const auto minor = amount_from(object, key, currency);
  if (!minor) object.fail(key, "it must be an amount");
  return *minor;
}

std::optional<Rate> rate_from(ObjectReader& object, std::string_view key) {
  const auto number = object.optional<double>(key, between(0, 1000));
  if (!number) return std::nullopt;
  const auto ppm = minor_from_double(*number, percent_decimals);
  if (!ppm) object.fail(key, "a percentage has at most four decimals");
  return Rate{*ppm};
}

SizeBand band_from(ObjectReader& object) {
  SizeBand band;
  band.name = object.required<std::string>("name", name_rule);
  band.from_mm = object.required<double>("from_mm", between(0, 10000));
  band.to_mm = object.optional<double>("to_mm", between(0, 10000));
  object.finish();
  return band;
}

constexpr int hour_decimals = 3;

/// Hours, of which the price is worked out once rate and rounding are known.
std::optional<int> hours_from(ObjectReader& object) {
  const auto hours = object.optional<double>("hours", between(0, 1000));
  if (!hours) return std::nullopt;
  const auto milli = minor_from_double(*hours, hour_decimals);
  if (!milli) object.fail("hours", "hours have at most three decimals");
  return static_cast<int>(*milli);
}

PriceRow row_from(ObjectReader& object, const Currency& currency) {
  PriceRow row;
  row.band = object.required<std::string>("band", name_rule);
  row.severity = text_or(object, "severity", any_word);
  row.count_from = object.optional<int>("count_from", count_rule).value_or(1);
  row.count_to = object.optional<int>("count_to", count_rule);
  row.price_minor = amount_from(object, "price", currency);
  row.panel = text_or(object, "panel", "");
  row.hours_milli = hours_from(object);
  const bool on_request = object.optional<bool>("on_request").value_or(false);
  const int said = (row.price_minor ? 1 : 0) + (row.hours_milli ? 1 : 0) + (on_request ? 1 : 0);
  if (said > 1) object.fail("price", "a row is either on_request, or has a price, or hours");
  if (said < 1) object.fail("price", "a row needs a price, or hours, or \"on_request\": true");
  row.per = choice(object, "per", {Per::spot, Per::panel}, Per::spot);
  object.finish();
  return row;
}

Surcharge surcharge_from(ObjectReader& object, const Currency& currency) {
  Surcharge surcharge;
  surcharge.name = object.required<std::string>("name", name_rule);
  surcharge.fact = text_or(object, "fact", surcharge.name);
  surcharge.rate = rate_from(object, "percent");
  surcharge.fixed_minor = amount_from(object, "amount", currency);
  // `of` speaks only of a percentage, `per` only of an amount: the other one would promise what is not done.
  if (surcharge.rate) surcharge.of = choice(object, "of", surcharge_bases, SurchargeBase::price);
  if (surcharge.fixed_minor) surcharge.per = choice(object, "per", {Per::spot, Per::panel}, Per::spot);
  object.finish();
  return surcharge;
}

FixedItem item_from(ObjectReader& object, const Currency& currency) {
  FixedItem item;
  item.name = object.required<std::string>("name", name_rule);
  item.hours_milli = hours_from(object);
  if (item.hours_milli && object.has("price")) object.fail("price", "an item has a price or hours");
  if (!item.hours_milli) item.price_minor = required_amount(object, "price", currency);
  item.untaxed = object.optional<bool>("untaxed").value_or(false);
  item.per = choice(object, "per", {Per::panel, Per::job}, Per::panel);
  item.fact = text_or(object, "fact", "");
  item.always = object.optional<bool>("always").value_or(false);
  object.finish();
  return item;
}

Currency currency_from(ObjectReader& object) {
  Currency currency;
  currency.code = object.required<std::string>("currency", {.min_bytes = 3, .max_bytes = 3});
  if (!is_known_currency(currency.code))
    object.fail("currency", "it must be the three letters of a currency (ISO 4217), such as EUR");
  currency.decimals = decimals_of_currency(currency.code);
  return currency;
}

Rounding rounding_from(ObjectReader& object, const Currency& currency) {
  Rounding rounding;
  rounding.mode = choice(object, "mode", rounding_modes, rounding.mode);
  rounding.place = choice(object, "place", rounding_places, rounding.place);
  rounding.cash_step_minor = amount_from(object, "cash_step", currency).value_or(1);
  object.finish();
  return rounding;
}

template <class Entries, class ToJson>
OrderedJson array_of(const Entries& entries, const ToJson& to_json) {
  OrderedJson array = OrderedJson::array();
  for (const auto& entry : entries) array.push_back(to_json(entry));
  return array;
}

/// Amounts are written as the shortest decimal that reads back as the same amount.
OrderedJson amount_json(std::int64_t minor, const Currency& currency) {
  return OrderedJson::parse(decimal_from_minor(minor, currency.decimals));
}

OrderedJson percent_json(Rate rate) { return OrderedJson::parse(percent_text(rate)); }

OrderedJson hours_json(int hours_milli) {
  return OrderedJson::parse(decimal_from_minor(hours_milli, hour_decimals));
}

OrderedJson row_json(const PriceRow& row, const Currency& currency) {
  OrderedJson json{{"band", row.band}, {"severity", row.severity}, {"count_from", row.count_from}};
  if (row.count_to) json["count_to"] = *row.count_to;
  if (!row.panel.empty()) json["panel"] = row.panel;
  if (row.hours_milli)
    json["hours"] = hours_json(*row.hours_milli);
  else if (row.price_minor)
    json["price"] = amount_json(*row.price_minor, currency);
  else
    json["on_request"] = true;
  json["per"] = to_string(row.per);
  return json;
}

OrderedJson surcharge_json(const Surcharge& surcharge, const Currency& currency) {
  OrderedJson json{{"name", surcharge.name}, {"fact", surcharge.fact}};
  if (surcharge.rate) {
    json["percent"] = percent_json(*surcharge.rate);
    json["of"] = to_string(surcharge.of);
  } else {
    json["amount"] = amount_json(*surcharge.fixed_minor, currency);
    json["per"] = to_string(surcharge.per);
  }
  return json;
}

OrderedJson item_json(const FixedItem& item, const Currency& currency) {
  OrderedJson json{{"name", item.name}};
  if (item.hours_milli)
    json["hours"] = hours_json(*item.hours_milli);
  else
    json["price"] = amount_json(item.price_minor, currency);
  json["per"] = to_string(item.per);
  if (item.untaxed) json["untaxed"] = true;
  if (!item.fact.empty()) json["fact"] = item.fact;
  if (item.always) json["always"] = true;
  return json;
}

OrderedJson tax_json(const Tax& tax) {
  OrderedJson json{{"name", tax.name}, {"percent", percent_json(tax.rate)}};
  if (tax.on_first) json["on_first"] = true;
  return json;
}

Tax tax_from(ObjectReader& object) {
  object.require("percent");
  Tax tax{text_or(object, "name", "tax"), rate_from(object, "percent").value_or(Rate{}),
          object.optional<bool>("on_first").value_or(false)};
  object.finish();
  return tax;
}

OrderedJson discount_json(const Discount& discount, const Currency& currency) {
  OrderedJson json{{"name", discount.name}};
  if (discount.rate)
    json["percent"] = percent_json(*discount.rate);
  else
    json["amount"] = amount_json(*discount.fixed_minor, currency);
  return json;
}

bool is_csv(const std::filesystem::path& file) {
  std::string extension = file.extension().string();
  std::transform(extension.begin(), extension.end(), extension.begin(),
                 [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; });
  return extension == ".csv";
}

}  // namespace

void price_the_hours(PriceTable& table) {
  if (!table.hourly_minor) return;
  const auto price = [&](int milli) {
    return price_of_hours(*table.hourly_minor, milli, table.rounding.mode);
  };
  for (PriceRow& row : table.prices)
    if (row.hours_milli) row.price_minor = price(*row.hours_milli);
  for (FixedItem& item : table.items)
    if (item.hours_milli) item.price_minor = price(*item.hours_milli);
}

void check_prices(const PriceTable& table, const std::string& file) {
  try {
    const Display display(table.currency, table.locale);
  } catch (const UsageError& error) {
    throw FileError(file, error.what());
  }
  const std::vector<TableProblem> problems = problems_of(table);
  if (!problems.empty())
    throw ConfigError(file, problems.front().key, problems.front().value, problems.front().rule);
}

PriceTable prices_from_json(std::string_view text, const std::string& name) {
  ObjectReader object = JsonFile::parse(text, name, {.max_bytes = most_bytes}).object();
  object.require_schema(schema);
  PriceTable table;
  table.name = text_or(object, "name", "");
  table.note = text_or(object, "note", "");
  const Currency currency = table.currency = currency_from(object);
  table.locale = text_or(object, "locale", "");
  table.size_by = choice(object, "size_by", size_measures, table.size_by);
  table.policy = choice(object, "straddle", policies, table.policy);
  table.severities = object.optional_list<std::string>("severities", severity_rule, name_rule);
  for (ObjectReader& band : object.required_objects("bands", {.max = most_bands}))
    table.bands.push_back(band_from(band));
  for (ObjectReader& row : object.required_objects("prices", {.max = most_prices}))
    table.prices.push_back(row_from(row, currency));
  if (auto beyond = object.optional_object("beyond_pulling")) {
    table.beyond_pulling = beyond->optional_list<std::string>("severities", severity_rule, name_rule);
    table.price_beyond_pulling = beyond->optional<bool>("priced").value_or(false);
    beyond->finish();
  }
  for (ObjectReader& entry : object.optional_objects("surcharges", extra_rule))
    table.surcharges.push_back(surcharge_from(entry, currency));
  for (ObjectReader& entry : object.optional_objects("caps", extra_rule)) {
    table.caps.push_back({text_or(entry, "panel", ""), required_amount(entry, "amount", currency)});
    entry.finish();
  }
  for (ObjectReader& entry : object.optional_objects("items", extra_rule))
    table.items.push_back(item_from(entry, currency));
  if (auto entry = object.optional_object("discount")) {
    table.discount = Discount{text_or(*entry, "name", "discount"), rate_from(*entry, "percent"),
                              amount_from(*entry, "amount", currency)};
    entry->finish();
  }
  for (ObjectReader& entry : object.optional_objects("panel_discounts", extra_rule)) {
    PanelDiscount one{entry.required<std::string>("panel", name_rule),
                      Discount{text_or(entry, "name", "discount"), rate_from(entry, "percent"),
                               amount_from(entry, "amount", currency)}};
    table.panel_discounts.push_back(std::move(one));
    entry.finish();
  }
  table.minimum_minor = amount_from(object, "minimum", currency);
  table.hourly_minor = amount_from(object, "hourly_rate", currency);
  if (auto entry = object.optional_object("tax")) table.tax = tax_from(*entry);
  if (auto entry = object.optional_object("second_tax")) table.second_tax = tax_from(*entry);
  table.prices_include_tax = object.optional<bool>("prices_include_tax").value_or(false);
  if (auto entry = object.optional_object("rounding")) table.rounding = rounding_from(*entry, currency);
  object.finish();
  price_the_hours(table);
  check_prices(table, name);
  return table;
}

std::string prices_to_json(const PriceTable& table) {
  const Currency& currency = table.currency;
  OrderedJson json{{"schema", schema},
                   {"name", table.name},
                   {"note", table.note},
                   {"currency", currency.code},
                   {"locale", table.locale},
                   {"size_by", to_string(table.size_by)},
                   {"straddle", to_string(table.policy)},
                   {"severities", table.severities}};
  json["bands"] = array_of(table.bands, [](const SizeBand& band) {
    OrderedJson entry{{"name", band.name}, {"from_mm", json_number(band.from_mm)}};
    if (band.to_mm) entry["to_mm"] = json_number(*band.to_mm);
    return entry;
  });
  json["prices"] = array_of(table.prices, [&](const PriceRow& row) { return row_json(row, currency); });
  json["beyond_pulling"] = {{"severities", table.beyond_pulling}, {"priced", table.price_beyond_pulling}};
  json["surcharges"] =
      array_of(table.surcharges, [&](const Surcharge& one) { return surcharge_json(one, currency); });
  json["caps"] = array_of(table.caps, [&](const PanelCap& cap) {
    OrderedJson entry{{"amount", amount_json(cap.amount_minor, currency)}};
    if (!cap.panel.empty()) entry["panel"] = cap.panel;
    return entry;
  });
  json["items"] = array_of(table.items, [&](const FixedItem& item) { return item_json(item, currency); });
  if (table.discount) json["discount"] = discount_json(*table.discount, currency);
  if (!table.panel_discounts.empty())
    json["panel_discounts"] = array_of(table.panel_discounts, [&](const PanelDiscount& one) {
      OrderedJson entry{{"panel", one.panel}};
      entry.update(discount_json(one.discount, currency));
      return entry;
    });
  if (table.minimum_minor) json["minimum"] = amount_json(*table.minimum_minor, currency);
  if (table.hourly_minor) json["hourly_rate"] = amount_json(*table.hourly_minor, currency);
  if (table.tax) json["tax"] = tax_json(*table.tax);
  if (table.second_tax) json["second_tax"] = tax_json(*table.second_tax);
  if (table.prices_include_tax) json["prices_include_tax"] = true;
  json["rounding"] = {{"mode", to_string(table.rounding.mode)},
                      {"place", to_string(table.rounding.place)},
                      {"cash_step", amount_json(table.rounding.cash_step_minor, currency)}};
  return json_text(json);
}

PriceTable read_prices(const std::filesystem::path& file) {
  const std::string text = read_bytes(file, most_bytes);
  const auto first = text.find_first_not_of(" \t\r\n");
  const bool has_no_name = file == "-";  // then by what it looks like
  const bool looks_like_json = first != std::string::npos && text[first] == '{';
  return (has_no_name ? !looks_like_json : is_csv(file)) ? prices_from_csv(text, file.string())
                                                         : prices_from_json(text, file.string());
}

}  // namespace ripplegauge
