// A price file in words, for the person who wrote it to check.
#include <algorithm>

#include "columns.hpp"
#include "quote/job.hpp"
#include "quote/quote_text.hpp"

namespace ripplegauge {

namespace {

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

std::string price_table_text(const PriceTable& table, const Display& display, int columns) {
  return PriceSheet(table, display, columns).make();
}

}  // namespace ripplegauge
