// One or two rates, on each line or on the sum, before or within the prices. Rounded where the price file
// says.
#include "quote_tax.hpp"

#include <algorithm>

namespace ripplegauge {

std::int64_t lines_sum(const Quote& quote) {
  std::int64_t sum_minor = 0;
  for (const QuoteLine& line : quote.lines) sum_minor = add_minor(sum_minor, line.amount_minor);
  return sum_minor;
}

namespace {

struct Taxes {
  std::int64_t first_minor = 0, second_minor = 0;
  std::int64_t sum_minor() const { return add_minor(first_minor, second_minor); }
};

/// What the amount is without a tax that is in it.
std::int64_t without_tax_minor(std::int64_t amount_minor, Rate rate, RoundingMode mode) {
  return scaled_minor(amount_minor, whole.ppm, whole.ppm + rate.ppm, mode);
}

/// The taxes on an amount, or in it.
Taxes taxes_of(const PriceTable& table, std::int64_t amount_minor) {
  const RoundingMode mode = table.rounding.mode;
  const Rate first = table.tax->rate, second = table.second_tax ? table.second_tax->rate : Rate{};
  const bool on_first = table.second_tax && table.second_tax->on_first;
  Taxes taxes;
  if (!table.prices_include_tax) {
    taxes.first_minor = share_minor(amount_minor, first, mode);
    taxes.second_minor = share_minor(amount_minor + (on_first ? taxes.first_minor : 0), second, mode);
  } else if (on_first) {
    const std::int64_t with_first_minor = without_tax_minor(amount_minor, second, mode);
    taxes.second_minor = amount_minor - with_first_minor;
    taxes.first_minor = with_first_minor - without_tax_minor(with_first_minor, first, mode);
  } else {
    const std::int64_t net_minor = without_tax_minor(amount_minor, Rate{first.ppm + second.ppm}, mode);
    taxes.second_minor = share_minor(net_minor, second, mode);
    taxes.first_minor = amount_minor - net_minor - taxes.second_minor;
  }
  return taxes;
}

/// What of the sum the tax is taken of: without untaxed lines and their part of the job's discount.
std::int64_t taxed_sum_minor(const PriceTable& table, const Quote& quote) {
  std::int64_t untaxed_minor = 0, before_discount_minor = 0, discount_minor = 0;
  for (const QuoteLine& line : quote.lines) {
    const bool of_the_job = line.type == LineType::discount && line.panel.empty();
    (of_the_job ? discount_minor : before_discount_minor) += line.amount_minor;
    if (line.untaxed) untaxed_minor += line.amount_minor;
  }
  if (untaxed_minor == 0) return lines_sum(quote);
  std::int64_t untaxed_discount_minor = 0;
  if (discount_minor != 0 && table.discount->rate)
    untaxed_discount_minor = -share_minor(untaxed_minor, *table.discount->rate, table.rounding.mode);
  else if (discount_minor != 0)
    untaxed_discount_minor = discount_minor * untaxed_minor / before_discount_minor;
  return lines_sum(quote) - untaxed_minor - untaxed_discount_minor;
}

/// Tax line by line. Lines that take something off give back their tax, but never more than the others owe.
void tax_every_line(const PriceTable& table, const std::vector<std::int64_t>& off_minor, Quote& quote) {
  for (std::size_t i = 0; i < quote.lines.size(); ++i) {
    QuoteLine& line = quote.lines[i];
    const bool already_in_the_lines =
        line.type == LineType::discount && line.panel.empty() && line.rate.has_value();
    const std::int64_t net_minor = already_in_the_lines || line.untaxed
                                       ? 0
                                       : line.amount_minor - (i < off_minor.size() ? off_minor[i] : 0);
    const Taxes taxes = taxes_of(table, net_minor);
    const std::int64_t first_minor = std::max(taxes.first_minor, -(quote.tax_minor - quote.second_tax_minor));
    const std::int64_t second_minor = std::max(taxes.second_minor, -quote.second_tax_minor);
    line.tax_minor = add_minor(first_minor, second_minor);
    quote.tax_minor = add_minor(quote.tax_minor, *line.tax_minor);
    quote.second_tax_minor = add_minor(quote.second_tax_minor, second_minor);
  }
}

}  // namespace

void add_tax(const PriceTable& table, const std::vector<std::int64_t>& off_minor, Quote& quote) {
  quote.subtotal_minor = lines_sum(quote);
  if (!table.tax) return;
  quote.tax = table.tax;
  quote.second_tax = table.second_tax;
  if (table.rounding.place == RoundingPlace::per_line) return tax_every_line(table, off_minor, quote);
  const Taxes taxes = taxes_of(table, taxed_sum_minor(table, quote));
  quote.tax_minor = taxes.sum_minor();
  quote.second_tax_minor = taxes.second_minor;
}

}  // namespace ripplegauge
