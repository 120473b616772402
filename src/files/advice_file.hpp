// Everything a plan rests on, read from the data folder, and plans as JSON.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "advice/next.hpp"
#include "advice/plan.hpp"

namespace ripplegauge {

/// Schema 1; the rules name grades, which must be among the severity rules' own. Throws FileError.
AdviceRules read_advice_rules(const std::filesystem::path& file, const SeverityRules& severity);

/// severity.json, materials.json, rules.json and coins.json of a folder; the coins are the country's, and
/// where it is empty the locale's. The kit: the given file, else the folder's kit.json, which is the
/// workshop's own, else none. Throws FileError, and UsageError for an unknown country.
AdviceData read_advice_data(const std::filesystem::path& folder,
                            const std::optional<std::filesystem::path>& kit, const std::string& coin_country,
                            const std::string& locale = "");

/// What is known of a panel, schema 1; all else may be left out. The keys are those under "panel" in a plan's
/// JSON. Throws FileError.
PanelFacts read_panel_facts(const std::filesystem::path& file);

/// Schema 1. A single plan as one object, several as an array.
std::string plans_to_json(const std::vector<Plan>& plans);
std::string next_to_json(const NextStep& next);
std::string pull_window_to_json(const PullWindow& window, const std::vector<TemperatureReading>& readings,
                                double ambient_c, const TemperatureRange& between,
                                const CoolingOptions& options);

}  // namespace ripplegauge
