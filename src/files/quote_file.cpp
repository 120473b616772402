#include "ripplegauge/files/quote_file.hpp"

#include <algorithm>

#include "ripplegauge/files/csv.hpp"
#include "ripplegauge/json/json_write.hpp"
#include "ripplegauge/quote/counts.hpp"
#include "ripplegauge/quote/quote_text.hpp"

namespace ripplegauge {

namespace {

constexpr int schema = 1;

OrderedJson line_json(const Quote& quote, const QuoteLine& line) {
  OrderedJson json{{"type", to_string(line.type)}, {"panel", line.panel}, {"name", line.name}};
  if (line.type == LineType::spot || line.type == LineType::spots) {
    json["band"] = line.band;
    json["severity"] = line.severity;
    json["beyond_pulling"] = line.beyond_pulling;
    json["straddles"] = std::any_of(line.spots.begin(), line.spots.end(),
                                    [&](int id) { return quoted_spot(quote, id).low_band.has_value(); });
  }
  if (!line.spots.empty()) json["spots"] = line.spots;
  if (line.rate) json["percent"] = OrderedJson::parse(percent_text(*line.rate));
  if (line.of_minor) json["of_minor"] = *line.of_minor;
  json["count"] = line.count;
  json["amount_minor"] = line.amount_minor;
  if (line.tax_minor) json["tax_minor"] = *line.tax_minor;
  return json;
}

const JobPhoto* photo_of(const Quote& quote, const QuotedSpot& spot) {
  if (spot.spot.by_hand()) return nullptr;
  for (const JobPhoto& photo : quote.photos)
    if (photo.id == *spot.spot.photo) return &photo;
  return nullptr;
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
  json["source"] = spot.by_hand() ? "hand" : "photo";
  if (const JobPhoto* photo = photo_of(quote, quoted))
    json["photo"] = {{"name", photo->name},
                     {"sha256", photo->sha256},
                     {"date_taken", photo->date_taken},
                     {"program", photo->program}};
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

std::string number_text(double value) { return json_number(value).dump(); }

void add_evidence_cells(const Quote& quote, const QuotedSpot& spot, std::vector<std::string>& cells) {
  const Quantity& size_mm = size_of(spot.spot, quote.size_by);
  for (const double value : {size_mm.value, size_mm.low, size_mm.high}) cells.push_back(number_text(value));
  cells.push_back(spot.spot.depth_mm ? number_text(spot.spot.depth_mm->value) : "");
  cells.push_back(harmless(spot.spot.severity));
  cells.push_back(harmless(source_text(quote, spot)));
}

std::string capitalised(std::string text) {
  if (!text.empty() && text.front() >= 'a' && text.front() <= 'z')
    text.front() = static_cast<char>(text.front() - 'a' + 'A');
  return text;
}

/// What was measured of a spot, and where: "15.2 mm (14.8–15.6), 0.31 mm deep (0.27–0.35); a.jpg".
std::string measured_text(const Quote& quote, const Display& display, const QuotedSpot& spot) {
  std::string text = display.millimetres(size_of(spot.spot, quote.size_by));
  if (spot.spot.depth_mm)
    text += std::string(spot.spot.kind == Kind::high ? ", high " : ", deep ") +
            display.fine_millimetres(*spot.spot.depth_mm);
  return text + "; " + source_text(quote, spot);
}

std::vector<std::string> spot_row(const Quote& quote, const Display& display, const QuotedSpot& spot,
                                  const std::string& what, const std::string& price) {
  std::string measured = measured_text(quote, display, spot);
  if (const std::string straddle = straddle_text(quote, spot); !straddle.empty()) measured += "; " + straddle;
  return {std::to_string(spot.spot.id) + ": " + what, measured, price};
}

ReportTable panel_table(const Quote& quote, const Display& display, const std::string& panel) {
  ReportTable table;
  table.amounts = table.ends_in_sum = true;
  table.header = {"Spot", "Measured, with 95 % interval", quote.currency.code};
  for (const QuoteLine& line : quote.lines) {
    if (line.panel != panel) continue;
    const std::string amount = display.amount(line.amount_minor), text = line_text(quote, line, display);
    if (line.type == LineType::spot) {
      table.rows.push_back(spot_row(quote, display, quoted_spot(quote, line.spots.front()), text, amount));
      continue;
    }
    if (line.type == LineType::spots)
      for (const int id : line.spots) {
        const QuotedSpot& spot = quoted_spot(quote, id);
        table.rows.push_back(spot_row(quote, display, spot, spot_words(spot), ""));
      }
    table.rows.push_back({capitalised(text), "", amount});
  }
  table.rows.push_back({capitalised(panel) + " together", "", display.amount(panel_sum(quote, panel))});
  return table;
}

void add_whole_job(const Quote& quote, const Display& display, ReportPage& page) {
  ReportTable table;
  table.amounts = true;
  table.header = {"Work", quote.currency.code};
  for (const QuoteLine& line : quote.lines)
    if (line.panel.empty() && line.type == LineType::item)
      table.rows.push_back({capitalised(line_text(quote, line, display)), display.amount(line.amount_minor)});
  if (table.rows.empty()) return;
  page.blocks.emplace_back(ReportHeading{"Whole job"});
  page.blocks.emplace_back(table);
}

ReportTable totals_table(const Quote& quote, const Display& display) {
  ReportTable table;
  table.amounts = table.ends_in_sum = true;
  for (const TotalRow& row : total_rows(quote, display))
    table.rows.push_back({capitalised(row.text),
                          row.is_total ? display.money(row.amount_minor) : display.amount(row.amount_minor)});
  return table;
}

/// How many spots of which size on which panel: the panel map, as a list.
void add_counts(const Quote& quote, ReportPage& page) {
  if (quote.counts.total == 0) return;
  ReportTable table;
  table.header = {"Spots on"};
  for (const SizeBand& band : quote.counts.bands) table.header.push_back(band.name + ", " + range_text(band));
  table.header.emplace_back("All");
  for (const PanelCount& panel : quote.counts.panels) {
    std::vector<std::string> row{capitalised(panel.panel)};
    for (const int count : panel.by_band) row.push_back(count == 0 ? "–" : std::to_string(count));
    row.push_back(std::to_string(panel.total));
    table.rows.push_back(std::move(row));
  }
  page.blocks.emplace_back(ReportHeading{"How many of which size"});
  page.blocks.emplace_back(std::move(table));
}

void add_unpriced(const Quote& quote, const Display& display, ReportPage& page) {
  if (!quote.unpriced.empty()) {
    page.blocks.emplace_back(ReportHeading{"Without a price"});
    ReportTable table;
    table.header = {"Spot", "Measured, with 95 % interval", "Why"};
    for (const UnpricedSpot& unpriced : quote.unpriced) {
      const QuotedSpot& spot = quoted_spot(quote, unpriced.id);
      const std::string notes = spot.spot.notes.empty() ? "" : ": " + spot.spot.notes;
      table.rows.push_back({std::to_string(unpriced.id) + ": " + unpriced.panel,
                            measured_text(quote, display, spot), unpriced.reason + notes});
    }
    page.blocks.emplace_back(table);
  }
  if (const std::string beyond = beyond_pulling_text(quote); !beyond.empty())
    page.blocks.emplace_back(ReportNote{beyond});
}

void add_evidence(const Quote& quote, const QuotePageOptions& options, ReportPage& page) {
  ReportPictures pictures{{}, 3};
  for (const JobPhoto& photo : quote.photos) {
    const auto thumbnail = options.thumbnails.find(photo.id);
    if (thumbnail == options.thumbnails.end()) continue;
    std::string caption = capitalised(photo.panel) + ": " + photo.name;
    if (!photo.date_taken.empty()) caption += ", taken " + photo.date_taken;
    pictures.pictures.push_back({thumbnail->second, caption, true});
  }
  if (pictures.pictures.empty()) return;
  page.blocks.emplace_back(ReportHeading{"Evidence"});
  page.blocks.emplace_back(pictures);
}

}  // namespace

std::string quote_to_json(const Quote& quote, const std::string& program) {
  OrderedJson lines = OrderedJson::array(), spots = OrderedJson::array(), unpriced = OrderedJson::array();
  for (const QuoteLine& line : quote.lines) lines.push_back(line_json(quote, line));
  for (const QuotedSpot& spot : quote.spots) spots.push_back(spot_json(quote, spot));
  for (const UnpricedSpot& spot : quote.unpriced)
    unpriced.push_back({{"spot", spot.id}, {"panel", spot.panel}, {"reason", spot.reason}});
  OrderedJson json{{"schema", schema},
                   {"program", program},
                   {"vehicle", quote.vehicle},
                   {"notes", quote.notes},
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
  json["tax_minor"] = quote.tax_minor;
  json["total_minor"] = quote.total_minor;
  json["spots"] = std::move(spots);
  json["unpriced"] = std::move(unpriced);
  json["remarks"] = quote.remarks;
  return json_text(json);
}

std::string quote_to_csv(const Quote& quote) {
  const Display plain(quote.currency, "");
  std::string csv = csv_line({"panel", "type", "spots", "what", "size_mm", "size_low_mm", "size_high_mm",
                              "depth_mm", "severity", "source", "amount", "currency"});
  const auto row = [&](const QuoteLine& line, const std::string& what) {
    std::vector<std::string> cells{harmless(line.panel), to_string(line.type), joined_ids(line.spots),
                                   harmless(what)};
    if (line.type == LineType::spot) {
      add_evidence_cells(quote, quoted_spot(quote, line.spots.front()), cells);
    } else {
      cells.resize(10);
    }
    cells.push_back(plain.amount(line.amount_minor));
    cells.push_back(quote.currency.code);
    csv += csv_line(cells);
  };
  const auto sum = [&](const char* type, const std::string& what, std::int64_t amount_minor) {
    std::vector<std::string> cells{"", type, "", harmless(what)};
    cells.resize(10);
    cells.push_back(plain.amount(amount_minor));
    cells.push_back(quote.currency.code);
    csv += csv_line(cells);
  };
  for (const QuoteLine& line : quote.lines)
    if (line.type != LineType::rounding) row(line, line_text(quote, line, plain));
  if (quote.tax) sum("tax", quote.tax->name + " " + percent_text(quote.tax->rate) + " %", quote.tax_minor);
  for (const QuoteLine& line : quote.lines)
    if (line.type == LineType::rounding) row(line, line_text(quote, line, plain));
  sum("total", "total", quote.total_minor);
  for (const UnpricedSpot& spot : quote.unpriced) {
    std::vector<std::string> cells{harmless(spot.panel), "unpriced", std::to_string(spot.id), spot.reason};
    add_evidence_cells(quote, quoted_spot(quote, spot.id), cells);
    cells.resize(12);
    csv += csv_line(cells);
  }
  return csv;
}

ReportPage quote_page(const Quote& quote, const Display& display, const QuotePageOptions& options) {
  ReportPage page;
  page.title = quote.vehicle.empty() ? "Quote" : "Quote: " + quote.vehicle;
  page.workshop = options.workshop;
  page.date = options.date;
  if (!quote.notes.empty()) page.blocks.emplace_back(ReportText{quote.notes});
  if (!quote.prices_note.empty()) page.blocks.emplace_back(ReportNote{quote.prices_note});
  page.blocks.emplace_back(ReportText{"Total " + display.money(quote.total_minor), true});
  if (const std::string unpriced = unpriced_text(quote); !unpriced.empty())
    page.blocks.emplace_back(ReportNote{unpriced});
  for (const std::string& panel : quote.panels) {
    page.blocks.emplace_back(ReportHeading{capitalised(panel)});
    page.blocks.emplace_back(panel_table(quote, display, panel));
  }
  add_whole_job(quote, display, page);
  page.blocks.emplace_back(ReportHeading{"All together"});
  page.blocks.emplace_back(totals_table(quote, display));
  add_unpriced(quote, display, page);
  add_counts(quote, page);
  add_evidence(quote, options, page);
  page.footer =
      "Sizes measured from photos of stripes reflected in the paint, with 95 % intervals; entries by hand "
      "are marked. " +
      options.program;
  return page;
}

}  // namespace ripplegauge
