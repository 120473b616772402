// A quote as JSON and as a table for spreadsheets.
#include "files/quote_file.hpp"

#include <algorithm>

#include "files/csv.hpp"
#include "json/json_write.hpp"
#include "quote/counts.hpp"
#include "quote/quote_text.hpp"

namespace ripplegauge {

namespace {

OrderedJson line_json(const Quote& quote, const QuoteLine& line) {
  OrderedJson json{{"type", to_string(line.type)}, {"panel", line.panel}, {"name", line.name}};
  if (line.type == LineType::spot || line.type == LineType::spots) {
    json["band"] = line.band;
    json["severity"] = line.severity;
    json["beyond_pulling"] = line.beyond_pulling;
    json["straddles"] = std::any_of(line.spots.begin(), line.spots.end(), [&](int id) {
      const QuotedSpot& spot = quoted_spot(quote, id);
      return spot.low_band || spot.mild_severity;
    });
  }
  if (!line.spots.empty()) json["spots"] = line.spots;
  if (line.rate) json["percent"] = OrderedJson::parse(percent_text(*line.rate));
  if (line.of_minor) json["of_minor"] = *line.of_minor;
  json["count"] = line.count;
  if (line.hours_milli) json["hours"] = json_number(*line.hours_milli / 1000.0);
  if (line.untaxed) json["untaxed"] = true;
  json["amount_minor"] = line.amount_minor;
  if (line.tax_minor) json["tax_minor"] = *line.tax_minor;
  return json;
}

const JobPhoto* photo_of(const Quote& quote, int id) {
  for (const JobPhoto& photo : quote.photos)
    if (photo.id == id) return &photo;
  return nullptr;
}

OrderedJson photo_json(const JobPhoto& photo) {
  OrderedJson json{{"name", photo.name},
                   {"sha256", photo.sha256},
                   {"date_taken", photo.date_taken},
                   {"program", photo.program}};
  if (const auto& setup = photo.setup) {
    json["board_pitch_mm"] = json_number(setup->board_pitch_mm);
    json["board_distance_mm"] = json_quantity(setup->board_distance_mm);
    json["bar_length_mm"] = json_number(setup->bar_length_mm);
  }
  return json;
}

/// The photo that a spot was measured in, with those that were read together with it.
OrderedJson photos_json(const Quote& quote, const JobPhoto& bearer) {
  OrderedJson json = photo_json(bearer);
  for (const JobPhoto& photo : quote.photos)
    if (photo.together_with == bearer.id) json["together_with"].push_back(photo_json(photo));
  return json;
}

OrderedJson spot_json(const Quote& quote, const QuotedSpot& quoted) {
  const JobSpot& spot = quoted.spot;
  OrderedJson json{{"id", spot.id},
                   {"panel", spot.panel},
                   {"kind", to_string(spot.kind)},
                   {"diameter_mm", json_quantity(spot.diameter_mm)},
                   {"length_mm", json_quantity(spot.length_mm)},
                   {"width_mm", json_quantity(spot.width_mm)},
                   {"depth_mm", json_quantity(spot.depth_mm)},
                   {"severity", spot.severity},
                   {"beyond_pulling", quoted.beyond_pulling},
                   {"band", quoted.band}};
  if (quoted.low_band) json["straddles"] = {*quoted.low_band, *quoted.high_band};
  json["priced_severity"] = quoted.severity;
  if (quoted.mild_severity) json["severity_straddles"] = {*quoted.mild_severity, *quoted.worst_severity};
  if (const auto& measured = spot.measured)
    json["measured"] = {{"diameter_mm", json_quantity(measured->diameter_mm)},
                        {"length_mm", json_quantity(measured->length_mm)},
                        {"width_mm", json_quantity(measured->width_mm)},
                        {"depth_mm", json_quantity(measured->depth_mm)},
                        {"severity", measured->severity},
                        {"beyond_pulling", measured->beyond_pulling}};
  json["source"] = spot.by_hand() ? "hand" : "photo";
  if (spot.photo) json["photo"] = photos_json(quote, *photo_of(quote, *spot.photo));
  if (!quoted.also_seen.empty()) json["also_seen_as"] = quoted.also_seen;
  return json;
}

/// Spreadsheets run text that begins like a formula; a quote is mailed to people who open it in one.
std::string harmless(const std::string& text) {
  return !text.empty() && std::string_view("=+-@\t\r").find(text.front()) != std::string_view::npos
             ? "'" + text
             : text;
}

std::string joined_ids(const std::vector<int>& ids) {
  std::string text;
  for (const int id : ids) text += (text.empty() ? "" : " ") + std::to_string(id);
  return text;
}

/// The quote as rows of a spreadsheet.
class QuoteCsv {
 public:
  QuoteCsv(const Quote& quote, const QuoteCsvOptions& options)
      : quote_(quote), options_(options), plain_(quote.currency, options.words.with_plain_numbers()) {}

  std::string make() {
    csv_ = "\xEF\xBB\xBF";  // else spreadsheets take UTF-8 for something else
    add({"panel", "type", "spots", "what", "size_mm", "size_low_mm", "size_high_mm", "depth_mm", "severity",
         "source", "amount", "currency", "vehicle", "date", "prices"});
    for (const QuoteLine& line : quote_.lines)
      if (line.type != LineType::rounding) add_line(line);
    for (const auto& [text, minor] : tax_rows(quote_, plain_))
      add_sum(quote_.prices_include_tax ? "included_tax" : "tax", text, minor);
    for (const QuoteLine& line : quote_.lines)
      if (line.type == LineType::rounding) add_line(line);
    add_sum("total", plain_.words()(quote_.partial() ? "quote.csv_total_partial" : "quote.csv_total"),
            quote_.total_minor);
    for (const MissingPart& part : missing_parts(quote_, plain_.words()))
      add_row({harmless(part.panel), "not_measured", "", harmless(part.what + ": " + part.why)});
    for (const JobWarning& warning : quote_.warnings)
      add_row({"", "warning", joined_ids(warning.spots),
               harmless(warning_text(quote_, warning, plain_.words()))});
    for (const UnpricedSpot& spot : quote_.unpriced) {
      std::vector<std::string> cells{harmless(spot.panel), "unpriced", std::to_string(spot.id),
                                     no_price_text(spot.reason, plain_.words())};
      add_evidence(quoted_spot(quote_, spot.id), cells);
      add_row(std::move(cells));
    }
    return csv_;
  }

 private:
  static constexpr std::size_t amount_column = 10;

  /// Hundredths of a millimetre are finer than any interval.
  std::string number(double value, int decimals = 2) const {
    return with_mark(plain_.number(value, decimals));
  }
  std::string with_mark(std::string number) const {
    if (options_.decimal_comma) std::replace(number.begin(), number.end(), '.', ',');
    return number;
  }

  void add(const std::vector<std::string>& cells) {
    csv_ += csv_line(cells, options_.decimal_comma ? ';' : ',');
  }

  /// Cells that are not given are empty; what is the same for all rows stands at their end.
  void add_row(std::vector<std::string> cells) {
    cells.resize(amount_column + 2);
    for (const std::string& cell : {harmless(quote_.vehicle), options_.date, harmless(quote_.prices_name)})
      cells.push_back(cell);
    add(cells);
  }

  void add_with_amount(std::vector<std::string> cells, std::int64_t amount_minor) {
    cells.resize(amount_column);
    cells.push_back(with_mark(plain_.amount(amount_minor)));
    cells.push_back(quote_.currency.code);
    add_row(std::move(cells));
  }

  void add_line(const QuoteLine& line) {
    std::vector<std::string> cells{harmless(line.panel), to_string(line.type), joined_ids(line.spots),
                                   harmless(line_text(quote_, line, plain_))};
    if (line.type == LineType::spot) add_evidence(quoted_spot(quote_, line.spots.front()), cells);
    add_with_amount(std::move(cells), line.amount_minor);
  }

  void add_sum(const char* type, const std::string& what, std::int64_t amount_minor) {
    add_with_amount({"", type, "", harmless(what)}, amount_minor);
  }

  void add_evidence(const QuotedSpot& spot, std::vector<std::string>& cells) const {
    const Quantity& size_mm = size_of(spot.spot, quote_.size_by);
    for (const double value : {size_mm.value, size_mm.low, size_mm.high}) cells.push_back(number(value));
    cells.push_back(spot.spot.depth_mm ? number(spot.spot.depth_mm->value, 3) : "");
    cells.push_back(harmless(spot.spot.severity));
    cells.push_back(harmless(source_text(quote_, spot, plain_.words())));
  }

  const Quote& quote_;
  const QuoteCsvOptions& options_;
  const Display plain_;
  std::string csv_;
};

OrderedJson supplement_json(const Supplement& supplement) {
  OrderedJson lines = OrderedJson::array();
  for (const ChangedLine& changed : supplement.lines) {
    const QuoteLine& line = changed.now ? *changed.now : *changed.first;
    const auto minor = [](const std::optional<QuoteLine>& one) {
      return one ? OrderedJson(one->amount_minor) : OrderedJson(nullptr);
    };
    lines.push_back({{"type", to_string(line.type)},
                     {"panel", line.panel},
                     {"name", line.name},
                     {"spots", line.spots},
                     {"first_minor", minor(changed.first)},
                     {"now_minor", minor(changed.now)},
                     {"difference_minor", changed.difference_minor()}});
  }
  return {{"first_quote_number", supplement.first_number},
          {"first_total_minor", supplement.first_total_minor},
          {"lines", std::move(lines)},
          {"tax_and_rounding_minor", supplement.tax_and_rounding_minor},
          {"difference_minor", supplement.difference_minor()}};
}

OrderedJson not_measured_json(const NotMeasured& missing) {
  OrderedJson photos = OrderedJson::array();
  for (const JobPhoto& photo : missing.photos)
    photos.push_back({{"id", photo.id},
                      {"panel", photo.panel},
                      {"name", photo.name},
                      {"reason", photo.refusal ? photo.refusal->message : ""},
                      {"remedy", photo.refusal ? photo.refusal->remedy : ""}});
  return {{"photos", std::move(photos)},
          {"photos_tried", missing.photos_tried},
          {"photos_to_do", missing.photos_to_do},
          {"panels", missing.panels}};
}

OrderedJson warnings_json(const Quote& quote) {
  OrderedJson warnings = OrderedJson::array();
  for (const JobWarning& warning : quote.warnings)
    warnings.push_back({{"code", warning.code},
                        {"message", warning.message},
                        {"photos", warning.photos},
                        {"spots", warning.spots}});
  return warnings;
}

OrderedJson changes_json(const Quote& quote) {
  OrderedJson changes = OrderedJson::array();
  for (const JobChange& change : quote.changes)
    changes.push_back({{"date", change.date},
                       {"who", change.who},
                       {"what", change.what},
                       {"key", change.key},
                       {"from", change.from},
                       {"to", change.to},
                       {"why", change.why}});
  return changes;
}

}  // namespace

std::string quote_to_json(const Quote& quote, const std::string& program,
                          const std::optional<Supplement>& supplement) {
  OrderedJson lines = OrderedJson::array(), spots = OrderedJson::array(), unpriced = OrderedJson::array();
  for (const QuoteLine& line : quote.lines) lines.push_back(line_json(quote, line));
  for (const QuotedSpot& spot : quote.spots) spots.push_back(spot_json(quote, spot));
  for (const UnpricedSpot& spot : quote.unpriced)
    unpriced.push_back({{"spot", spot.id}, {"panel", spot.panel}, {"reason", word(spot.reason)}});
  OrderedJson json{{"schema", schema_of_quotes},
                   {"program", program},
                   {"vehicle", quote.vehicle},
                   {"notes", quote.notes},
                   {"claim_number", quote.claim_number},
                   {"quote_number", quote.quote_number},
                   {"valid_until", quote.valid_until},
                   {"prices", {{"name", quote.prices_name}, {"note", quote.prices_note}}},
                   {"currency", quote.currency.code},
                   {"currency_decimals", quote.currency.decimals},
                   {"straddle_policy", to_string(quote.policy)},
                   {"size_by", to_string(quote.size_by)},
                   {"rounding",
                    {{"mode", to_string(quote.rounding.mode)},
                     {"place", to_string(quote.rounding.place)},
                     {"cash_step_minor", quote.rounding.cash_step_minor}}},
                   {"lines", std::move(lines)},
                   {"subtotal_minor", quote.subtotal_minor}};
  json["tax"] = quote.tax ? OrderedJson{{"name", quote.tax->name},
                                        {"percent", OrderedJson::parse(percent_text(quote.tax->rate))}}
                          : OrderedJson(nullptr);
  json["second_tax"] =
      quote.second_tax ? OrderedJson{{"name", quote.second_tax->name},
                                     {"percent", OrderedJson::parse(percent_text(quote.second_tax->rate))},
                                     {"on_first", quote.second_tax->on_first}}
                       : OrderedJson(nullptr);
  json["prices_include_tax"] = quote.prices_include_tax;
  json["tax_minor"] = quote.tax_minor;
  json["second_tax_minor"] = quote.second_tax_minor;
  json["total_minor"] = quote.total_minor;
  const auto or_null = [](const std::optional<std::int64_t>& minor) {
    return minor ? OrderedJson(*minor) : OrderedJson(nullptr);
  };
  json["total_lower_minor"] = or_null(quote.total_lower_minor);
  json["total_upper_minor"] = or_null(quote.total_upper_minor);
  json["partial"] = quote.partial();
  json["not_measured"] = not_measured_json(quote.not_measured);
  json["spots"] = std::move(spots);
  json["unpriced"] = std::move(unpriced);
  json["warnings"] = warnings_json(quote);
  json["changes"] = changes_json(quote);
  json["questions"] = quote.questions;
  json["remarks"] = quote.remarks;
  if (supplement) json["supplement"] = supplement_json(*supplement);
  return json_text(json);
}

std::string quote_to_csv(const Quote& quote, const QuoteCsvOptions& options) {
  return QuoteCsv(quote, options).make();
}

}  // namespace ripplegauge
