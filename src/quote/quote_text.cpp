// A quote as plain text, amounts at the right edge.
#include "quote/quote_text.hpp"

#include <utility>

#include "columns.hpp"
#include "quote/counts.hpp"
#include "words/text.hpp"

namespace ripplegauge {

namespace {

/// Builds the terminal's text block by block.
class QuoteSheet {
 public:
  QuoteSheet(const Quote& quote, const Display& display, int columns)
      : quote_(quote), display_(display), words_(display.words()), out_(columns) {}

  std::string make() {
    heading();
    for (const std::string& panel : quote_.panels) panel_block(panel);
    job_lines();
    totals();
    missing_block();
    unpriced_block();
    list("quote.warnings", warning_lines());
    list("quote.to_decide", quote_.questions);
    list("quote.changed", change_lines());
    remarks();
    return out_.take();
  }

 private:
  static constexpr int spot_indent = 7;  // below the size, right of the number

  void heading() {
    out_.paragraph(quote_title(quote_, words_));
    for (const auto& [label, value] : numbers_of(quote_, words_))
      out_.paragraph(words_("text.labelled", {{"label", label}, {"text", value}}));
    if (!quote_.notes.empty()) out_.paragraph(quote_.notes);
    if (!quote_.prices_name.empty()) out_.paragraph(words_("quote.prices", {{"name", quote_.prices_name}}));
    if (!quote_.prices_note.empty()) out_.paragraph(quote_.prices_note);
  }

  /// Number, size and what it is, in columns.
  void spot_line(const QuotedSpot& spot, const std::string& what, const std::string& amount) {
    const std::string start = padded_left(std::to_string(spot.spot.id), 5) + "  " +
                              padded_right(display_.millimetres(size_of(spot.spot, quote_.size_by)), 21) +
                              "  ";
    out_.hanging(start, what, amount);
    out_.paragraph(straddle_text(quote_, spot, words_), spot_indent);
    out_.paragraph(hand_text(quote_, spot, display_), spot_indent);
    out_.paragraph(source_text(quote_, spot, words_), spot_indent);
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
          spot_line(quoted_spot(quote_, id), spot_words(quoted_spot(quote_, id), words_), "");
      out_.with_amount(text, amount, spot_indent);
    }
    out_.with_amount(words_("quote.panel_together", {{"panel", panel}}),
                     display_.amount(panel_sum(quote_, panel)), 2);
  }

  void job_lines() {
    bool first = true;
    for (const QuoteLine& one : quote_.lines) {
      if (!one.panel.empty() || one.type != LineType::item) continue;
      if (std::exchange(first, false)) {
        out_.line();
        out_.line(words_("quote.whole_job"));
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
    out_.paragraph(partial_text(quote_, words_));
    out_.paragraph(unpriced_text(quote_, words_));
    out_.paragraph(span_text(quote_, display_));
  }

  void missing_block() {
    const std::vector<MissingPart> missing = missing_parts(quote_, words_);
    if (!missing.empty()) {
      out_.line();
      out_.line(words_("quote.missing"));
    }
    for (const MissingPart& part : missing) {
      const std::string text = words_("text.labelled", {{"label", part.what}, {"text", part.why}});
      out_.paragraph(
          part.panel.empty() ? text : words_("text.labelled", {{"label", part.panel}, {"text", text}}), 2);
    }
  }

  std::vector<std::string> warning_lines() const {
    std::vector<std::string> lines;
    for (const JobWarning& warning : quote_.warnings) lines.push_back(warning_text(quote_, warning, words_));
    return lines;
  }

  std::vector<std::string> change_lines() const {
    std::vector<std::string> lines;
    for (const JobChange& change : quote_.changes) lines.push_back(change_text(change, display_));
    return lines;
  }

  void list(const char* heading, const std::vector<std::string>& lines) {
    if (!lines.empty()) {
      out_.line();
      out_.line(words_(heading));
    }
    for (const std::string& line : lines) out_.paragraph(line, 2);
  }

  void unpriced_block() {
    if (!quote_.unpriced.empty()) {
      out_.line();
      out_.line(words_("quote.no_price.heading"));
    }
    for (const UnpricedSpot& unpriced : quote_.unpriced) {
      const QuotedSpot& spot = quoted_spot(quote_, unpriced.id);
      const std::string reason = no_price_text(unpriced.reason, words_);
      spot_line(spot, words_("text.labelled", {{"label", unpriced.panel}, {"text", reason}}), "");
      out_.paragraph(spot.spot.notes, spot_indent);
    }
    out_.paragraph(beyond_pulling_text(quote_, words_));
  }

  void remarks() {
    if (!quote_.remarks.empty()) out_.line();
    for (const std::string& remark : quote_.remarks)
      out_.paragraph(words_("quote.remark", {{"text", remark}}));
  }

  const Quote& quote_;
  const Display& display_;
  const Wording& words_;
  AmountColumn out_;
};

}  // namespace

std::string quote_text(const Quote& quote, const Display& display, int columns) {
  return QuoteSheet(quote, display, columns).make();
}

}  // namespace ripplegauge
