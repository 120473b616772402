// Price files: the user's own prices, as JSON (schema 1) or as a CSV table made with a spreadsheet.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

#include "quote/price_table.hpp"

namespace ripplegauge {

/// JSON, or CSV where the name ends in .csv. Throws FileError for anything that is not a complete table
/// without gap or ambiguity (see problems_of), naming the key or the line.
PriceTable read_prices(const std::filesystem::path& file);

/// `name` stands for the file in error messages.
PriceTable prices_from_json(std::string_view text, const std::string& name);
PriceTable prices_from_csv(std::string_view text, const std::string& name);

/// The table as a JSON price file; reading it back gives the same table.
std::string prices_to_json(const PriceTable& table);

}  // namespace ripplegauge
