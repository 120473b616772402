// Tables of repeated readings, from CSV or from readings, and the study's figures as JSON.
#include "files/study_file.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <map>
#include <optional>
#include <set>

#include "files/csv.hpp"
#include "json/json_write.hpp"
#include "json/read_bytes.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "words/text.hpp"

namespace ripplegauge {

namespace {

constexpr std::size_t most_bytes = 16u << 20;  // 100 000 readings have about 4 MB
constexpr std::string_view study_columns = "part, person, trial, value (or value_UNIT), method, note";

/// Where each column stands; `method` and `note` may be absent.
struct Columns {
  std::size_t part = 0, person = 0, trial = 0, value = 0;
  std::optional<std::size_t> method;
  std::string unit;
};

[[noreturn]] void fail(const std::string& name, int line, const std::string& problem) {
  throw FileError(name, "line " + std::to_string(line) + ": " + problem);
}

Columns columns_of(const CsvRow& header, const std::string& name) {
  Columns columns;
  std::map<std::string, std::size_t> places;
  for (std::size_t i = 0; i < header.fields.size(); ++i) {
    std::string column = trimmed(header.fields[i]);
    if (column.starts_with("value_")) {
      columns.unit = column.substr(6);
      column = "value";
    }
    const std::set<std::string> known = {"part", "person", "trial", "value", "method", "note"};
    if (!known.contains(column))
      fail(name, header.line,
           "the column \"" + column + "\" is unknown; columns are " + std::string(study_columns));
    if (!places.emplace(column, i).second) fail(name, header.line, "the column " + column + " stands twice");
  }
  for (const char* needed : {"part", "person", "trial", "value"})
    if (!places.contains(needed))
      fail(name, header.line,
           std::string("the column ") + needed + " is missing; columns are " + std::string(study_columns));
  columns.part = places["part"];
  columns.person = places["person"];
  columns.trial = places["trial"];
  columns.value = places["value"];
  if (places.contains("method")) columns.method = places["method"];
  return columns;
}

double number_from(std::string text, bool decimal_comma, const std::string& name, int line) {
  const std::string given = text;
  if (decimal_comma) std::replace(text.begin(), text.end(), ',', '.');
  double value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc() || end != text.data() + text.size() || !(std::abs(value) <= 1e12))
    fail(name, line, "value is \"" + given + "\", but it must be a number");
  return value;
}

char separator_of(std::string_view text) {
  const std::string_view header = text.substr(0, text.find('\n'));
  if (header.find(',') != std::string_view::npos) return ',';
  if (header.find(';') != std::string_view::npos) return ';';
  return header.find('\t') != std::string_view::npos ? '\t' : ',';
}

OrderedJson json_of(const std::optional<Quantity>& quantity) { return json_quantity(quantity); }

OrderedJson json_of(const StudyTerm& term) {
  OrderedJson json;
  json["source"] = term.source;
  json["degrees_of_freedom"] = json_number(term.spread.degrees_of_freedom);
  json["sum_of_squares"] = json_number(term.spread.sum_of_squares);
  json["mean_square"] = json_number(term.spread.mean_square());
  json["f_ratio"] = json_number(term.test.ratio);
  json["p"] = json_number(term.test.p);
  return json;
}

OrderedJson json_of(const KnownComparison& known) {
  OrderedJson parts = OrderedJson::array();
  for (const PartBias& part : known.parts)
    parts.push_back({{"part", part.part},
                     {"known", json_number(part.known.value)},
                     {"uncertainty", json_number(part.known.uncertainty)},
                     {"readings", part.readings},
                     {"bias", json_number(part.bias)},
                     {"interval", json_of(part.interval)}});
  return {{"parts", std::move(parts)},
          {"percent", json_of(known.bias_percent)},
          {"readings_with_intervals", known.stated},
          {"intervals_that_hold_it", known.holding}};
}

OrderedJson json_of(const NamedStudy& study) {
  const StudyResult& result = study.result;
  OrderedJson json;
  json["name"] = study.name;
  json["unit"] = study.unit;
  json["parts"] = result.parts;
  json["people"] = result.people;
  json["trials"] = result.trials;
  json["anova"] = OrderedJson::array();
  for (const StudyTerm& term : result.table) json["anova"].push_back(json_of(term));
  json["interaction_pooled"] = result.interaction_pooled;
  OrderedJson& deviations = json["standard_deviation"];
  deviations["repeatability"] = json_of(result.repeatability);
  deviations["reproducibility"] = json_of(result.reproducibility);
  deviations["measurement"] = json_of(result.measurement);
  deviations["part"] = json_of(result.part_variation);
  deviations["total"] = json_of(result.total);
  OrderedJson& shares = json["percent_of_total"];
  shares["repeatability"] = json_of(result.repeatability_percent);
  shares["reproducibility"] = json_of(result.reproducibility_percent);
  shares["measurement"] = json_of(result.measurement_percent);
  shares["part"] = json_of(result.part_percent);
  json["distinct_categories"] =
      result.distinct_categories ? OrderedJson(*result.distinct_categories) : OrderedJson(nullptr);
  json["percent_of_tolerance"] = json_of(result.tolerance_percent);
  json["scatter_over_stated"] = json_of(study.scatter_over_stated);
  json["bias"] = json_of(study.known);
  json["verdict"] = to_string(result.verdict);
  json["notes"] = study.notes;
  json["missing"] = result.missing;
  json["remarks"] = result.remarks;
  return json;
}

}  // namespace

std::vector<StudyGroup> read_study_file(const std::filesystem::path& file) {
  const std::string name = file.string(), text = read_bytes(file, most_bytes);
  const char separator = separator_of(text);
  std::vector<CsvRow> rows = parse_csv(text, name, separator);
  std::erase_if(rows, [](const CsvRow& row) {  // spreadsheets leave rows of separators at the end
    return std::all_of(row.fields.begin(), row.fields.end(), [](const std::string& f) { return f.empty(); });
  });
  if (rows.empty()) throw FileError(name, "is empty; it needs the columns " + std::string(study_columns));
  const Columns columns = columns_of(rows.front(), name);

  std::vector<StudyGroup> groups;
  std::map<std::vector<std::string>, int> seen;  // method, part, person, trial -> line
  for (std::size_t i = 1; i < rows.size(); ++i) {
    const CsvRow& row = rows[i];
    const auto label = [&](std::size_t column, const char* what) {
      std::string text_of_it = trimmed(row.fields[column]);
      if (text_of_it.empty()) fail(name, row.line, std::string(what) + " is empty");
      return text_of_it;
    };
    const std::string method =
        columns.method ? label(*columns.method, "method") : std::filesystem::path(file).stem().string();
    const StudyValue value{label(columns.part, "part"), label(columns.person, "person"),
                           label(columns.trial, "trial"),
                           number_from(trimmed(row.fields[columns.value]), separator != ',', name, row.line)};
    const auto [twin, is_new] =
        seen.emplace(std::vector{method, value.part, value.person, value.trial}, row.line);
    if (!is_new)
      fail(name, row.line,
           "part \"" + value.part + "\", person \"" + value.person + "\", trial \"" + value.trial +
               "\" stands already in line " + std::to_string(twin->second));
    auto group = std::find_if(groups.begin(), groups.end(), [&](const auto& g) { return g.name == method; });
    if (group == groups.end()) group = groups.insert(groups.end(), {method, columns.unit, {}});
    group->values.push_back(value);
  }
  if (groups.empty()) throw FileError(name, "has a header but no readings");
  return groups;
}

std::optional<StudyValue> study_labels(const std::string& name) {
  constexpr const char* between = "_/";
  const auto last = name.find_last_of(between);
  if (last == std::string::npos || last == 0 || last + 1 == name.size()) return std::nullopt;
  const auto first = name.find_last_of(between, last - 1);
  if (first == std::string::npos || first == 0 || first + 1 == last) return std::nullopt;
  return StudyValue{name.substr(0, first), name.substr(first + 1, last - first - 1), name.substr(last + 1)};
}

StudyGroup study_from_readings(const std::vector<std::filesystem::path>& files, StudyQuantity quantity) {
  std::vector<LabelledReading> labelled;
  for (const std::filesystem::path& file : files) {
    std::optional<StudyValue> labels = study_labels(file.stem().string());
    if (!labels)
      throw FileError(file.string(), "its name must be PART_PERSON_TRIAL.json, as in door1_anna_2.json");
    std::vector<Reading> readings = read_readings(file);
    if (readings.size() != 1) throw FileError(file.string(), "holds several readings; one is needed");
    labelled.push_back({std::move(*labels), std::move(readings.front())});
  }
  return study_of("readings", labelled, quantity);
}

std::map<std::string, KnownValue> read_known_values(const std::filesystem::path& file,
                                                    StudyQuantity quantity) {
  const std::string name = file.string(), text = read_bytes(file, most_bytes);
  const char separator = separator_of(text);
  const std::vector<CsvRow> rows = parse_csv(text, name, separator);
  if (rows.empty())
    throw FileError(name, "is empty; its first line names the columns, such as part,depth_mm");
  std::map<std::string, std::size_t> columns;
  const std::set<std::string> allowed = {"part",
                                         "depth_mm",
                                         "diameter_mm",
                                         "radius_mm",
                                         "depth_uncertainty_mm",
                                         "diameter_uncertainty_mm",
                                         "radius_uncertainty_mm",
                                         "note"};
  for (std::size_t i = 0; i < rows.front().fields.size(); ++i) {
    const std::string column = trimmed(rows.front().fields[i]);
    if (!allowed.contains(column) || !columns.emplace(column, i).second)
      fail(name, rows.front().line,
           "the column \"" + column + "\" is unknown or stands twice; columns are part, depth_mm, " +
               "diameter_mm, radius_mm, the same with _uncertainty before _mm, note");
  }
  if (!columns.contains("part")) fail(name, rows.front().line, "the column part is missing");
  const std::string what = quantity == StudyQuantity::depth_mm      ? "depth"
                           : quantity == StudyQuantity::diameter_mm ? "diameter"
                                                                    : "radius";
  std::map<std::string, KnownValue> known;
  for (std::size_t i = 1; i < rows.size(); ++i) {
    const auto number = [&](const std::string& column) -> std::optional<double> {
      const auto at = columns.find(column);
      if (at == columns.end() || trimmed(rows[i].fields[at->second]).empty()) return std::nullopt;
      const double value =
          number_from(trimmed(rows[i].fields[at->second]), separator != ',', name, rows[i].line);
      if (value < 0) fail(name, rows[i].line, column + " must not be below 0");
      return value;
    };
    const std::string part = trimmed(rows[i].fields[columns.at("part")]);
    const auto value = number(what + "_mm");
    if (part.empty() || !value) continue;
    if (!known.emplace(part, KnownValue{*value, number(what + "_uncertainty_mm").value_or(0)}).second)
      fail(name, rows[i].line, "part \"" + part + "\" stands there twice");
  }
  return known;
}

std::string studies_to_json(const std::vector<NamedStudy>& studies, double confidence) {
  OrderedJson json;
  json["schema"] = 1;
  json["confidence"] = json_number(confidence);
  json["studies"] = OrderedJson::array();
  for (const NamedStudy& study : studies) json["studies"].push_back(json_of(study));
  return json_text(json);
}

}  // namespace ripplegauge
