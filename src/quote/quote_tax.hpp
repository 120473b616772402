// Tax on a quote, or in it.
#pragma once

#include <cstdint>
#include <vector>

#include "quote/quote.hpp"

namespace ripplegauge {

std::int64_t lines_sum(const Quote& quote);

/// Sets subtotal and taxes. `off_minor`: what each line is less by for the job's discount.
void add_tax(const PriceTable& table, const std::vector<std::int64_t>& off_minor, Quote& quote);

}  // namespace ripplegauge
