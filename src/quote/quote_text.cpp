// A quote and a price table as plain text, amounts at the right edge.
#include "ripplegauge/quote/quote_text.hpp"

#include <algorithm>
#include <utility>

#include "columns.hpp"
#include "ripplegauge/core/joined.hpp"
#include "ripplegauge/quote/counts.hpp"
#include "ripplegauge/words/text.hpp"

namespace ripplegauge {

namespace {

std::string band_and_severity(const QuoteLine& line) {
  if (line.type == LineType::spot) return line.band + (line.severity.empty() ? "" : ", " + line.severity);
  return (line.band == any_word ? "any size" : line.band) + ", " +
         (line.severity == any_word ? "any severity" : line.severity);
}

std::string spots_word(std::size_t count) { return count == 1 ? "1 spot" : std::to_string(count) + " spots"; }

/// "2 × 65.00", or nothing for a single one.
std::string times(const QuoteLine& line, const Display& display) {
  if (line.count == 1) return "";
  return ", " + std::to_string(line.count) + " × " + display.amount(line.amount_minor / line.count);
}

/// "1.5 h at 80.00", where the price was worked out from hours.
std::string hours_text(const Quote& quote, const QuoteLine& line, const Display& display) {
  if (!line.hours_milli || !quote.hourly_minor) return "";
  const double hours = *line.hours_milli / 1000.0;
  int decimals = 3;
  for (int milli = *line.hours_milli; decimals > 1 && milli % 10 == 0; milli /= 10) --decimals;
  return ", " + display.number(hours, decimals) + " h at " + display.amount(*quote.hourly_minor);
}

std::string photo_name(const Quote& quote, int spot_photo) {
  for (const JobPhoto& photo : quote.photos)
    if (photo.id == spot_photo) return photo.name;
  return "photo " + std::to_string(spot_photo);
}

bool any_line(const Quote& quote, LineType type) {
  return std::any_of(quote.lines.begin(), quote.lines.end(),
                     [&](const QuoteLine& line) { return line.type == type; });
}

/// Builds the terminal's text block by block.
class QuoteSheet {
 public:
  QuoteSheet(const Quote& quote, const Display& display, int columns)
      : quote_(quote), display_(display), out_(columns) {}

  std::string make() {
    heading();
    for (const std::string& panel : quote_.panels) panel_block(panel);
    job_lines();
    totals();
    missing_block();
    unpriced_block();
    list("Warnings of the photos", warning_lines());
    list("To decide", quote_.questions);
    list("Changed by hand", change_lines());
    remarks();
    return out_.take();
  }

 private:
  static constexpr int spot_indent = 7;  // below the size, right of the number

  void heading() {
    out_.paragraph(quote_.vehicle.empty() ? "Quote" : "Quote: " + quote_.vehicle);
    for (const auto& [name, value] : numbers_of(quote_)) out_.paragraph(name + ": " + value);
    if (!quote_.notes.empty()) out_.paragraph(quote_.notes);
    if (!quote_.prices_name.empty()) out_.paragraph("Prices: " + quote_.prices_name);
    if (!quote_.prices_note.empty()) out_.paragraph(quote_.prices_note);
  }

  /// Number, size and what it is, in columns.
  void spot_line(const QuotedSpot& spot, const std::string& what, const std::string& amount) {
    const std::string start = padded_left(std::to_string(spot.spot.id), 5) + "  " +
                              padded_right(display_.millimetres(size_of(spot.spot, quote_.size_by)), 21) +
                              "  ";
    out_.hanging(start, what, amount);
    out_.paragraph(straddle_text(quote_, spot), spot_indent);
    out_.paragraph(hand_text(quote_, spot, display_), spot_indent);
    out_.paragraph(source_text(quote_, spot), spot_indent);
  }

  void panel_block(const std::string& panel) {
    out_.line();
    out_.paragraph(panel);
    for (const QuoteLine& one : quote_.lines) {
      if (one.panel != panel) continue;
      const std::string amount = display_.amount(one.amount_minor), text = line_text(quote_, one, display_);
      if (one.type == LineType::spot) {
        spot_line(quoted_spot(quote_, one.spots.front()), text, amount);
        continue;
      }
      if (one.type == LineType::spots)
        for (const int id : one.spots)
          spot_line(quoted_spot(quote_, id), spot_words(quoted_spot(quote_, id)), "");
      out_.with_amount(text, amount, spot_indent);
    }
    out_.with_amount(panel + " together", display_.amount(panel_sum(quote_, panel)), 2);
  }

  void job_lines() {
    bool first = true;
    for (const QuoteLine& one : quote_.lines) {
      if (!one.panel.empty() || one.type != LineType::item) continue;
      if (std::exchange(first, false)) {
        out_.line();
        out_.line("Whole job");
      }
      out_.with_amount(line_text(quote_, one, display_), display_.amount(one.amount_minor), spot_indent);
    }
  }

  void totals() {
    out_.line();
    for (const TotalRow& row : total_rows(quote_, display_)) {
      if (row.is_total) out_.rule();
      out_.with_amount(row.text,
                       row.is_total ? display_.money(row.amount_minor) : display_.amount(row.amount_minor));
    }
    out_.paragraph(partial_text(quote_));
    out_.paragraph(unpriced_text(quote_));
    out_.paragraph(span_text(quote_, display_));
  }

  void missing_block() {
    const std::vector<MissingPart> missing = missing_parts(quote_);
    if (!missing.empty()) {
      out_.line();
      out_.line("Not measured, and not in the total");
    }
    for (const MissingPart& part : missing)
      out_.paragraph((part.panel.empty() ? "" : part.panel + ": ") + part.what + ": " + part.why, 2);
  }

  std::vector<std::string> warning_lines() const {
    std::vector<std::string> lines;
    for (const JobWarning& warning : quote_.warnings) lines.push_back(warning_text(quote_, warning));
    return lines;
  }

  std::vector<std::string> change_lines() const {
    std::vector<std::string> lines;
    for (const JobChange& change : quote_.changes) lines.push_back(change_text(change));
    return lines;
  }

  void list(const char* heading, const std::vector<std::string>& lines) {
    if (!lines.empty()) {
      out_.line();
      out_.line(heading);
    }
    for (const std::string& line : lines) out_.paragraph(line, 2);
  }

  void unpriced_block() {
    if (!quote_.unpriced.empty()) {
      out_.line();
      out_.line("Without a price");
    }
    for (const UnpricedSpot& unpriced : quote_.unpriced) {
      const QuotedSpot& spot = quoted_spot(quote_, unpriced.id);
      spot_line(spot, unpriced.panel + ": " + unpriced.reason, "");
      out_.paragraph(spot.spot.notes, spot_indent);
    }
    out_.paragraph(beyond_pulling_text(quote_));
  }

  void remarks() {
    if (!quote_.remarks.empty()) out_.line();
    for (const std::string& remark : quote_.remarks) out_.paragraph("Note: " + remark);
  }

  const Quote& quote_;
  const Display& display_;
  AmountColumn out_;
};

/// A price file as its owner reads it.
class PriceSheet {
 public:
  PriceSheet(const PriceTable& table, const Display& display, int columns)
      : table_(table), display_(display), out_(columns) {}

  std::string make() {
    out_.paragraph(table_.name.empty() ? "Prices" : table_.name);
    if (!table_.note.empty()) out_.paragraph(table_.note);
    out_.paragraph("Amounts in " + table_.currency.code +
                   (table_.prices_include_tax ? ", tax included" : ", before tax") + ". Sizes are by " +
                   to_string(table_.size_by) +
                   "; where an interval reaches over a band's edge: " + to_string(table_.policy) + ".");
    bands();
    extras();
    last_steps();
    return out_.take();
  }

 private:
  std::string price(const std::optional<std::int64_t>& minor) const {
    return minor ? display_.amount(*minor) : "on request";
  }

  std::string row_words(const PriceRow& row) const {
    std::string text = row.panel.empty() ? "" : row.panel + ": ";
    text += row.severity == any_word ? "any severity" : row.severity;
    if (row.count_from != 1 || row.count_to) {
      text += ", " + std::to_string(row.count_from);
      if (!row.count_to)
        text += " and more";
      else if (*row.count_to != row.count_from)
        text += " to " + std::to_string(*row.count_to);
      text += " on a panel";
    }
    return text + (row.per == Per::spot ? ", each" : ", together");
  }

  void prices_of(const std::string& band) {
    for (const PriceRow& row : table_.prices)
      if (row.band == band) out_.with_amount(row_words(row), price(row.price_minor), 4);
  }

  void bands() {
    out_.line();
    for (const SizeBand& band : table_.bands) {
      out_.paragraph(band.name + ": " + range_text(band));
      prices_of(band.name);
    }
    if (std::any_of(table_.prices.begin(), table_.prices.end(),
                    [](const auto& row) { return row.band == any_word; })) {
      out_.line("any size");
      prices_of(any_word);
    }
    for (const std::string& grade : table_.beyond_pulling)
      out_.paragraph("Beyond pulling: " + grade +
                     (table_.price_beyond_pulling ? ", priced" : ", listed without a price"));
  }

  void extras() {
    if (!table_.surcharges.empty()) {
      out_.line();
      out_.line("Surcharges, in this order");
    }
    for (const Surcharge& one : table_.surcharges) {
      const std::string what = same_name(one.name, one.fact) ? one.name : one.name + " (" + one.fact + ")";
      if (one.rate)
        out_.with_amount(what + (one.of == SurchargeBase::price ? ", of the price"
                                                                : ", of the price with what stands above"),
                         display_.percent(*one.rate), 4);
      else
        out_.with_amount(what + ", a " + to_string(one.per), display_.amount(*one.fixed_minor), 4);
    }
    if (!table_.caps.empty()) {
      out_.line();
      out_.line("Most for a panel, surcharges included");
    }
    for (const PanelCap& cap : table_.caps)
      out_.with_amount(cap.panel.empty() ? "every other panel" : cap.panel, display_.amount(cap.amount_minor),
                       4);
    if (!table_.items.empty()) {
      out_.line();
      out_.line("Other work");
    }
    for (const FixedItem& item : table_.items) {
      const std::string when = item.always         ? "always"
                               : item.fact.empty() ? "when asked for"
                                                   : "where: " + item.fact;
      out_.with_amount(item.name + ", a " + to_string(item.per) + ", " + when,
                       display_.amount(item.price_minor), 4);
    }
  }

  void last_steps() {
    out_.line();
    if (table_.discount)
      out_.with_amount(table_.discount->name, table_.discount->rate
                                                  ? display_.percent(*table_.discount->rate)
                                                  : display_.amount(*table_.discount->fixed_minor));
    for (const PanelDiscount& one : table_.panel_discounts)
      out_.with_amount(one.discount.name + ", " + one.panel,
                       one.discount.rate ? display_.percent(*one.discount.rate)
                                         : display_.amount(*one.discount.fixed_minor));
    if (table_.minimum_minor)
      out_.with_amount("least for a job, before tax", display_.amount(*table_.minimum_minor));
    if (table_.hourly_minor) out_.with_amount("an hour", display_.amount(*table_.hourly_minor));
    if (table_.tax) out_.with_amount(table_.tax->name, display_.percent(table_.tax->rate));
    if (table_.second_tax)
      out_.with_amount(
          table_.second_tax->name + (table_.second_tax->on_first ? ", of the first tax, too" : ""),
          display_.percent(table_.second_tax->rate));
    const bool per_line = table_.rounding.place == RoundingPlace::per_line;
    std::string mode = to_string(table_.rounding.mode);
    std::replace(mode.begin(), mode.end(), '_', ' ');
    out_.paragraph("Rounding: " + mode + ", discount and tax " +
                   (per_line ? "on every line" : "once, on the sum") +
                   (table_.rounding.cash_step_minor > 1
                        ? "; the total to " + display_.amount(table_.rounding.cash_step_minor)
                        : ""));
  }

  const PriceTable& table_;
  const Display& display_;
  AmountColumn out_;
};

}  // namespace

std::string line_text(const Quote& quote, const QuoteLine& line, const Display& display) {
  switch (line.type) {
    case LineType::spot:
      return band_and_severity(line) + (line.beyond_pulling ? ", beyond pulling" : "") +
             hours_text(quote, line, display);
    case LineType::spots:
      return spots_word(line.spots.size()) + " together: " + band_and_severity(line) +
             (line.beyond_pulling ? ", some beyond pulling" : "");
    case LineType::surcharge: {
      if (!line.rate && line.count > 1) return line.name + times(line, display);
      const std::string of =
          line.rate ? ", " + display.percent(*line.rate) + " of " + display.amount(line.of_minor.value_or(0))
                    : "";
      return line.name + of + " (" + spots_word(line.spots.size()) + ")";
    }
    case LineType::cap:
      return "down to the most for this panel, " + display.amount(line.of_minor.value_or(0));
    case LineType::item:
      return line.name + times(line, display) + hours_text(quote, line, display) +
             (line.untaxed && quote.tax ? ", without tax" : "");
    case LineType::minimum:
      return "up to the least for a job, " + display.amount(line.of_minor.value_or(0));
    case LineType::discount:
      if (!line.rate) return line.name;
      return line.name + ", " + display.percent(*line.rate) + " of " +
             display.amount(line.of_minor.value_or(0));
    case LineType::rounding:
      return "rounded to " + display.amount(quote.rounding.cash_step_minor);
  }
  return line.name;
}

std::vector<std::pair<std::string, std::string>> numbers_of(const Quote& quote) {
  std::vector<std::pair<std::string, std::string>> numbers;
  for (const auto& [name, value] :
       {std::pair("Claim", quote.claim_number), std::pair("Quote number", quote.quote_number),
        std::pair("Valid until", quote.valid_until)})
    if (!value.empty()) numbers.emplace_back(name, value);
  return numbers;
}

std::string spot_words(const QuotedSpot& spot) {
  return spot.band + (spot.severity.empty() ? "" : ", " + spot.severity) +
         (spot.beyond_pulling ? ", beyond pulling" : "");
}

std::string straddle_text(const Quote& quote, const QuotedSpot& spot) {
  std::string between, priced;
  const auto add = [&](const std::optional<std::string>& low, const std::optional<std::string>& high,
                       const std::string& chosen) {
    if (!low) return;
    between += (between.empty() ? "between " : ", and between ") + *low + " and " + *high;
    priced += (priced.empty() ? "" : ", ") + chosen;
  };
  add(spot.low_band, spot.high_band, spot.band);
  add(spot.mild_severity, spot.worst_severity, spot.severity);
  if (between.empty()) return "";
  return between + ": priced as " + priced + " (" + to_string(quote.policy) + ")";
}

std::string source_text(const Quote& quote, const QuotedSpot& spot) {
  std::string text = spot.spot.by_hand() ? "by hand" : photo_names(quote.photos, *spot.spot.photo);
  if (spot.spot.number_in_photo) text += ", spot " + std::to_string(*spot.spot.number_in_photo) + " there";
  for (std::size_t i = 0; i < spot.also_seen.size(); ++i)
    text += (i == 0 ? "; counted once, also seen as spot " : ", ") + std::to_string(spot.also_seen[i]);
  return text;
}

std::vector<std::pair<std::string, std::int64_t>> tax_rows(const Quote& quote, const Display& display) {
  std::vector<std::pair<std::string, std::int64_t>> rows;
  if (!quote.tax) return rows;
  const std::string place = quote.rounding.place == RoundingPlace::per_line ? ", rounded line by line" : "";
  rows.emplace_back(quote.tax->name + ", " + display.percent(quote.tax->rate) + place,
                    quote.tax_minor - quote.second_tax_minor);
  if (quote.second_tax)
    rows.emplace_back(quote.second_tax->name + ", " + display.percent(quote.second_tax->rate) +
                          (quote.second_tax->on_first ? " with " + quote.tax->name : "") + place,
                      quote.second_tax_minor);
  return rows;
}

std::vector<TotalRow> total_rows(const Quote& quote, const Display& display) {
  std::vector<TotalRow> rows;
  rows.push_back({"Spots", sum_of(quote, LineType::spot) + sum_of(quote, LineType::spots)});
  for (const auto& [type, text] :
       {std::pair(LineType::surcharge, "Surcharges"), std::pair(LineType::cap, "Panel caps"),
        std::pair(LineType::item, "Other work")})
    if (any_line(quote, type)) rows.push_back({text, sum_of(quote, type)});
  for (const QuoteLine& line : quote.lines)
    if (line.type == LineType::discount)
      rows.push_back(
          {"Discount: " + (line.panel.empty() ? "" : line.panel + ", ") + line_text(quote, line, display),
           line.amount_minor});
  for (const QuoteLine& line : quote.lines)
    if (line.type == LineType::minimum) rows.push_back({line_text(quote, line, display), line.amount_minor});
  if (quote.tax && !quote.prices_include_tax) {
    rows.push_back({"Subtotal", quote.subtotal_minor});
    for (const auto& [text, minor] : tax_rows(quote, display)) rows.push_back({text, minor});
  }
  for (const QuoteLine& line : quote.lines)
    if (line.type == LineType::rounding) rows.push_back({line_text(quote, line, display), line.amount_minor});
  rows.push_back({quote.partial() ? "Total, partial" : "Total", quote.total_minor, true});
  if (quote.tax && quote.prices_include_tax)
    for (const auto& [text, minor] : tax_rows(quote, display)) rows.push_back({"of which " + text, minor});
  return rows;
}

std::string partial_text(const Quote& quote) {
  const NotMeasured& missing = quote.not_measured;
  if (missing.empty()) return "";
  std::string text = "This total is partial:";
  const char* separator = " ";
  const auto add = [&](const std::string& part) { text += std::exchange(separator, "; ") + part; };
  if (!missing.photos.empty())
    add(std::to_string(missing.photos.size()) + " of " + std::to_string(missing.photos_tried) +
        (missing.photos_tried == 1 ? " photo" : " photos") + " could not be measured");
  if (missing.photos_to_do > 0)
    add(std::to_string(missing.photos_to_do) + (missing.photos_to_do == 1 ? " photo was" : " photos were") +
        " not measured yet");
  if (!missing.panels.empty()) add("nothing was measured on " + joined(missing.panels));
  return text + ".";
}

std::vector<MissingPart> missing_parts(const Quote& quote) {
  std::vector<MissingPart> parts;
  for (const JobPhoto& photo : quote.not_measured.photos) {
    const bool named_by_panel = photo.name.starts_with(photo.panel + "/");
    parts.push_back(
        {photo.panel, named_by_panel ? photo.name.substr(photo.panel.size() + 1) : photo.name,
         photo.refusal ? photo.refusal->message : std::string("the photo could not be measured")});
  }
  for (const std::string& panel : quote.not_measured.panels)
    parts.push_back(
        {panel, "whole panel", "no photo of it was measured, and nobody has looked at it by eye"});
  if (quote.not_measured.photos_to_do > 0)
    parts.push_back({"", std::to_string(quote.not_measured.photos_to_do) + " photos",
                     "the run over the folder was stopped before it came to them"});
  return parts;
}

std::string warning_text(const Quote& quote, const JobWarning& warning) {
  std::string about;
  for (const int photo : warning.photos) about += (about.empty() ? "" : ", ") + photo_name(quote, photo);
  for (const int spot : warning.spots)
    about += (about.empty() ? (warning.spots.size() == 1 ? "spot " : "spots ") : ", ") + std::to_string(spot);
  return warning.message + " (" + about + ")";
}

std::string hand_text(const Quote& quote, const QuotedSpot& spot, const Display& display) {
  if (!spot.spot.measured) return "";
  const AsMeasured& measured = *spot.spot.measured;
  std::string text = "CHANGED BY HAND, measured: " + display.millimetres(measured.diameter_mm);
  if (measured.length_mm && measured.length_mm != spot.spot.length_mm)
    text += ", length " + display.millimetres(*measured.length_mm);
  if (measured.depth_mm && measured.depth_mm != spot.spot.depth_mm)
    text += ", depth " + display.fine_millimetres(*measured.depth_mm);
  if (!measured.severity.empty()) text += ", " + measured.severity;
  if (measured.beyond_pulling) text += ", beyond pulling";
  std::string why;
  for (const JobChange& change : quote.changes)
    if (change.what == "spot " + std::to_string(spot.spot.id) && change.key != "voided" &&
        !change.why.empty())
      why = change.why;
  return text + (why.empty() ? "" : "; " + why);
}

std::string change_text(const JobChange& change) {
  std::string text = change.date.substr(0, 10) + ", " + change.what + ": " + change.key;
  if (!change.from.empty() && !change.to.empty())
    text += " from " + change.from + " to " + change.to;
  else if (!change.from.empty())
    text += " (" + change.from + ")";
  else if (!change.to.empty())
    text += " " + change.to;
  if (!change.why.empty()) text += ", because: " + change.why;
  return text + (change.who.empty() ? "; who: not said" : "; " + change.who);
}

std::string span_text(const Quote& quote, const Display& display) {
  const auto uncertain = std::count_if(quote.spots.begin(), quote.spots.end(), [](const QuotedSpot& spot) {
    return spot.low_band || spot.mild_severity;
  });
  if (uncertain == 0) return "";
  const auto total = [&](const std::optional<std::int64_t>& minor) {
    return minor ? display.money(*minor) : std::string("not known, since spots would be without a price");
  };
  return std::to_string(uncertain) +
         (uncertain == 1 ? " spot lies between two sizes or grades."
                         : " spots lie between two sizes or grades.") +
         " Priced in the lower ones, the total would be " + total(quote.total_lower_minor) +
         "; in the upper ones " + total(quote.total_upper_minor) + ".";
}

std::string unpriced_text(const Quote& quote) {
  if (quote.unpriced.empty()) return "";
  if (quote.unpriced.size() == 1) return "1 spot has no price and is not in the total.";
  return std::to_string(quote.unpriced.size()) + " spots have no price and are not in the total.";
}

std::string beyond_pulling_text(const Quote& quote) {
  const bool any = std::any_of(quote.spots.begin(), quote.spots.end(),
                               [](const QuotedSpot& spot) { return spot.beyond_pulling; });
  if (!any) return "";
  return "Beyond pulling: glue pulling alone will probably not mend it. Somebody who can judge filling and "
         "painting, or a new part, should look at it.";
}

std::string quote_text(const Quote& quote, const Display& display, int columns) {
  return QuoteSheet(quote, display, columns).make();
}

std::string price_table_text(const PriceTable& table, const Display& display, int columns) {
  return PriceSheet(table, display, columns).make();
}

}  // namespace ripplegauge
