#pragma once

#include <filesystem>
#include <vector>

#include "severity/coins.hpp"
#include "severity/severity.hpp"

namespace ripplegauge {

/// Grades, thresholds and size classes (schema 1), with the metals from their own file. Throws FileError.
SeverityRules read_severity_rules(const std::filesystem::path& rules, const std::filesystem::path& metals);

/// Coin sizes by country, schema 1. Throws FileError.
std::vector<CoinSet> read_coins(const std::filesystem::path& file);

}  // namespace ripplegauge
