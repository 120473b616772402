// A quote as a page: the total, what is missing of it, the lines, then the evidence.
#include <algorithm>

#include "core/joined.hpp"
#include "files/quote_file.hpp"
#include "quote/counts.hpp"
#include "quote/quote_text.hpp"
#include "words/text.hpp"

namespace ripplegauge {

namespace {

/// What was measured of a spot, and where: "15.2 mm (14.8–15.6), deep 0.31 mm (0.27–0.35); a.jpg".
std::string measured_text(const Quote& quote, const Display& display, const QuotedSpot& spot) {
  std::string text = display.millimetres(size_of(spot.spot, quote.size_by));
  if (spot.spot.is_crease())
    text += ", " +
            display.words()("quote.size.crease", {{"length", display.number(spot.spot.length_mm->value, 1)},
                                                  {"width", display.number(spot.spot.width_mm->value, 1)}});
  if (spot.spot.depth_mm) text += ", " + depth_text(spot.spot.kind, *spot.spot.depth_mm, display);
  return text + "; " + source_text(quote, spot, display.words());
}

std::vector<std::string> spot_row(const Quote& quote, const Display& display, const QuotedSpot& spot,
                                  const std::string& what, const std::string& price) {
  std::string measured = measured_text(quote, display, spot);
  for (const std::string& more :
       {straddle_text(quote, spot, display.words()), hand_text(quote, spot, display)})
    if (!more.empty()) measured += "; " + more;
  return {std::to_string(spot.spot.id) + ": " + what, measured, price};
}

ReportTable panel_table(const Quote& quote, const Display& display, const std::string& panel) {
  ReportTable table;
  table.amounts = table.ends_in_sum = true;
  const Wording& words = display.words();
  table.header = {words("quote.page.spot"), words("quote.page.measured"), quote.currency.code};
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
        table.rows.push_back(spot_row(quote, display, spot, spot_words(spot, words), ""));
      }
    table.rows.push_back({capitalised(text), "", amount});
  }
  table.rows.push_back({words("quote.panel_together", {{"panel", capitalised(panel)}}), "",
                        display.amount(panel_sum(quote, panel))});
  return table;
}

void add_whole_job(const Quote& quote, const Display& display, ReportPage& page) {
  ReportTable table;
  table.amounts = true;
  table.header = {display.words()("quote.page.work"), quote.currency.code};
  for (const QuoteLine& line : quote.lines)
    if (line.panel.empty() && line.type == LineType::item)
      table.rows.push_back({capitalised(line_text(quote, line, display)), display.amount(line.amount_minor)});
  if (table.rows.empty()) return;
  page.blocks.emplace_back(ReportHeading{display.words()("quote.whole_job")});
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
void add_counts(const Quote& quote, const Wording& words, ReportPage& page) {
  if (quote.counts.total == 0) return;
  ReportTable table;
  table.header = {words("quote.page.spots_on")};
  for (const SizeBand& band : quote.counts.bands)
    table.header.push_back(band.name + ", " + range_text(band, words));
  table.header.push_back(words("quote.page.all"));
  for (const PanelCount& panel : quote.counts.panels) {
    std::vector<std::string> row{capitalised(panel.panel)};
    for (const int count : panel.by_band) row.push_back(count == 0 ? "–" : std::to_string(count));
    row.push_back(std::to_string(panel.total));
    table.rows.push_back(std::move(row));
  }
  page.blocks.emplace_back(ReportHeading{words("quote.page.counts")});
  page.blocks.emplace_back(std::move(table));
}

void add_unpriced(const Quote& quote, const Display& display, ReportPage& page) {
  const Wording& words = display.words();
  if (!quote.unpriced.empty()) {
    page.blocks.emplace_back(ReportHeading{words("quote.no_price.heading")});
    ReportTable table;
    table.header = {words("quote.page.spot"), words("quote.page.measured"), words("quote.page.why")};
    for (const UnpricedSpot& unpriced : quote.unpriced) {
      const QuotedSpot& spot = quoted_spot(quote, unpriced.id);
      const std::string notes = spot.spot.notes.empty() ? "" : ": " + spot.spot.notes;
      table.rows.push_back({std::to_string(unpriced.id) + ": " + unpriced.panel,
                            measured_text(quote, display, spot),
                            no_price_text(unpriced.reason, words) + notes});
    }
    page.blocks.emplace_back(table);
  }
  if (const std::string beyond = beyond_pulling_text(quote, words); !beyond.empty())
    page.blocks.emplace_back(ReportNote{beyond});
}

/// What the total does not hold, and why: it stands right behind the totals.
void add_missing(const Quote& quote, const Wording& words, ReportPage& page) {
  const std::vector<MissingPart> missing = missing_parts(quote, words);
  if (missing.empty()) return;
  page.blocks.emplace_back(ReportHeading{words("quote.missing")});
  ReportTable table;
  table.header = {words("quote.page.panel"), words("quote.page.what"), words("quote.page.why")};
  for (const MissingPart& part : missing)
    table.rows.push_back({part.panel.empty() ? "–" : capitalised(part.panel), part.what, part.why});
  page.blocks.emplace_back(std::move(table));
}

void add_warnings(const Quote& quote, const Wording& words, ReportPage& page) {
  if (quote.warnings.empty()) return;
  page.blocks.emplace_back(ReportHeading{words("quote.warnings")});
  for (const JobWarning& warning : quote.warnings)
    page.blocks.emplace_back(ReportText{warning_text(quote, warning, words)});
}

void add_changes(const Quote& quote, const Display& display, ReportPage& page) {
  if (quote.changes.empty()) return;
  page.blocks.emplace_back(ReportHeading{display.words()("quote.changed")});
  for (const JobChange& change : quote.changes)
    page.blocks.emplace_back(ReportText{change_text(change, display)});
}

/// "Numbers in it: 1 is spot 4, 2 is spot 5", since the picture and the quote number the spots otherwise.
std::string numbers_text(const Quote& quote, const JobPhoto& photo, const Wording& words) {
  std::vector<std::string> numbers;
  for (const QuotedSpot& spot : quote.spots)
    if (spot.spot.photo == photo.together_with.value_or(photo.id) && spot.spot.number_in_photo)
      numbers.push_back(
          words("quote.page.number_is", {{"number", *spot.spot.number_in_photo}, {"id", spot.spot.id}}));
  return numbers.empty() ? "" : words("quote.page.numbers", {{"numbers", joined(numbers)}});
}

/// What an insurer wants to know of a photo: which one it is, when and how it was taken, and by what it was
/// measured.
std::string evidence_text(const Quote& quote, const Display& display, const JobPhoto& photo) {
  const Wording& words = display.words();
  std::vector<std::string> parts{
      words("text.labelled", {{"label", capitalised(photo.panel)}, {"text", photo.name}})};
  const auto add = [&](const std::string& part) {
    if (!part.empty()) parts.push_back(part);
  };
  if (!photo.date_taken.empty())
    add(words("quote.page.taken", {{"time", words.date_and_time(photo.date_taken)}}));
  for (const JobPhoto& bearer : quote.photos)
    if (bearer.id == photo.together_with) add(words("quote.page.together_with", {{"photo", bearer.name}}));
  add(numbers_text(quote, photo, words));
  if (const auto& setup = photo.setup) {
    add(words("quote.page.stripes", {{"pitch", display.number(setup->board_pitch_mm, 1)}}));
    if (setup->board_distance_mm)
      add(words("quote.page.board", {{"distance", display.millimetres(*setup->board_distance_mm, 0)}}));
    add(words("quote.page.bar", {{"length", display.number(setup->bar_length_mm, 1)}}));
  }
  add(photo.program);
  constexpr std::size_t fingerprint_digits = 16;  // tells all photos of a claim apart
  if (!photo.sha256.empty()) add("SHA-256 " + photo.sha256.substr(0, fingerprint_digits) + "…");
  return joined(parts, "; ");
}

void add_evidence(const Quote& quote, const Display& display, const QuotePageOptions& options,
                  ReportPage& page) {
  ReportPictures pictures{{}, 2};
  for (const JobPhoto& photo : quote.photos) {
    const auto thumbnail = options.thumbnails.find(photo.id);
    if (thumbnail == options.thumbnails.end()) continue;
    pictures.pictures.push_back({thumbnail->second, evidence_text(quote, display, photo), true});
  }
  if (pictures.pictures.empty()) return;
  page.blocks.emplace_back(ReportHeading{display.words()("quote.page.evidence")});
  page.blocks.emplace_back(pictures);
}

void add_supplement(const Quote& quote, const Display& display, const Supplement& supplement,
                    ReportPage& page) {
  const Wording& words = display.words();
  page.blocks.emplace_back(ReportText{supplement_total_text(supplement, display), true});
  page.blocks.emplace_back(ReportHeading{supplement_heading(supplement, words)});
  ReportTable table;
  table.amounts = table.ends_in_sum = true;
  table.header = {words("quote.supplement.line"), words("quote.supplement.change"), quote.currency.code};
  for (const SupplementRow& row : supplement_rows(quote, supplement, display))
    table.rows.push_back({row.what, row.change, row.difference});
  page.blocks.emplace_back(std::move(table));
}

/// Panels with their sums, before the pages of lines.
void add_summary(const Quote& quote, const Display& display, ReportPage& page) {
  if (quote.panels.size() < 2) return;
  ReportTable table;
  table.amounts = true;
  const Wording& words = display.words();
  table.header = {words("quote.page.panel"), words("quote.page.spots"), quote.currency.code};
  for (const std::string& panel : quote.panels) {
    const auto spots = std::count_if(quote.spots.begin(), quote.spots.end(),
                                     [&](const QuotedSpot& spot) { return spot.spot.panel == panel; });
    table.rows.push_back(
        {capitalised(panel), std::to_string(spots), display.amount(panel_sum(quote, panel))});
  }
  page.blocks.emplace_back(ReportHeading{words("quote.page.by_panel")});
  page.blocks.emplace_back(std::move(table));
}

}  // namespace

ReportPage quote_page(const Quote& quote, const Display& display, const QuotePageOptions& options) {
  const Wording& words = display.words();
  ReportPage page;
  page.words = words;
  page.title = options.supplement ? supplement_title(quote, words) : quote_title(quote, words);
  page.workshop = options.workshop;
  page.date = options.date;
  for (const auto& [label, value] : numbers_of(quote, words))
    page.blocks.emplace_back(ReportText{words("text.labelled", {{"label", label}, {"text", value}})});
  if (!quote.notes.empty()) page.blocks.emplace_back(ReportText{quote.notes});
  if (!quote.prices_note.empty()) page.blocks.emplace_back(ReportNote{quote.prices_note});
  page.blocks.emplace_back(ReportText{words(quote.partial() ? "quote.page_total_partial" : "quote.page_total",
                                            {{"amount", display.money(quote.total_minor)}}),
                                      true});
  for (const std::string& text :
       {partial_text(quote, words), unpriced_text(quote, words), span_text(quote, display)})
    if (!text.empty()) page.blocks.emplace_back(ReportNote{text});
  if (options.supplement) add_supplement(quote, display, *options.supplement, page);
  add_summary(quote, display, page);
  page.blocks.emplace_back(ReportHeading{words("quote.page.together")});
  page.blocks.emplace_back(totals_table(quote, display));
  add_missing(quote, words, page);
  for (const std::string& panel : quote.panels) {
    page.blocks.emplace_back(ReportHeading{capitalised(panel)});
    page.blocks.emplace_back(panel_table(quote, display, panel));
  }
  add_whole_job(quote, display, page);
  add_unpriced(quote, display, page);
  add_counts(quote, words, page);
  add_warnings(quote, words, page);
  add_changes(quote, display, page);
  add_evidence(quote, display, options, page);
  page.footer = words("quote.page.footer", {{"program", options.program}});
  return page;
}

}  // namespace ripplegauge
