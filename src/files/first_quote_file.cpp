// A saved quote, read again as far as a supplement needs it.
#include <cmath>

#include "files/quote_file.hpp"
#include "ripplegauge/json/json_reader.hpp"

namespace ripplegauge {

namespace {

std::int64_t required_minor(ObjectReader& object, std::string_view key) {
  const auto largest = static_cast<double>(largest_amount_minor);
  const double minor = object.required<double>(key, between(-largest, largest));
  if (minor != std::floor(minor)) object.fail(key, "it must be a whole number");
  return static_cast<std::int64_t>(minor);
}

LineType required_type(ObjectReader& object) {
  constexpr LineType types[] = {LineType::spot, LineType::spots,   LineType::surcharge, LineType::cap,
                                LineType::item, LineType::minimum, LineType::discount,  LineType::rounding};
  std::vector<std::string> words;
  for (const LineType type : types) words.emplace_back(to_string(type));
  const std::string word = object.required_choice("type", words);
  for (const LineType type : types)
    if (word == to_string(type)) return type;
  return LineType::item;
}

QuoteLine line_from(ObjectReader& object) {
  constexpr TextRule name_rule{.max_bytes = 2000, .one_line = true};
  constexpr double ppm_per_percent = 1e4;
  QuoteLine line;
  line.type = required_type(object);
  line.panel = object.required<std::string>("panel", name_rule);
  line.name = object.required<std::string>("name", name_rule);
  line.band = object.optional<std::string>("band", name_rule).value_or("");
  line.severity = object.optional<std::string>("severity", name_rule).value_or("");
  line.beyond_pulling = object.optional<bool>("beyond_pulling").value_or(false);
  line.spots = object.optional_list<int>("spots", {}, at_least(1));
  if (line.type == LineType::spot && line.spots.size() != 1) object.fail("spots", "it must be one spot");
  if (const auto percent = object.optional<double>("percent", between(0, 1000)))
    line.rate = Rate{std::llround(*percent * ppm_per_percent)};
  if (object.has("of_minor")) line.of_minor = required_minor(object, "of_minor");
  line.count = object.optional<int>("count", between(0, 1'000'000)).value_or(1);
  if (const auto hours = object.optional<double>("hours", between(0, 1000)))
    line.hours_milli = static_cast<int>(std::lround(1000 * *hours));
  line.untaxed = object.optional<bool>("untaxed").value_or(false);
  line.amount_minor = required_minor(object, "amount_minor");
  return line;
}

}  // namespace

FirstQuote read_first_quote(const std::filesystem::path& file) {
  ObjectReader object = JsonFile::read(file).object();
  object.require_schema(schema_of_quotes);
  FirstQuote quote;
  quote.quote_number = object.optional<std::string>("quote_number", {.one_line = true}).value_or("");
  quote.currency = object.required<std::string>("currency", {.min_bytes = 3, .max_bytes = 3});
  for (ObjectReader& line : object.required_objects("lines")) quote.lines.push_back(line_from(line));
  quote.total_minor = required_minor(object, "total_minor");
  return quote;  // its evidence, warnings and changes are not asked for
}

}  // namespace ripplegauge
