// The options by which a person says what a photo cannot show. Several commands share them.
#pragma once

#include <CLI/CLI.hpp>
#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "advice/plan.hpp"

namespace ripplegauge::cli {

struct PanelArguments {
  std::string facts_file;                              ///< empty: none
  std::vector<std::function<void(PanelFacts&)>> said;  ///< by options of their own
  std::string kit;    ///< empty: the profile's, else kit.json of the data folder, if there is one
  std::string coins;  ///< empty: the profile's, else us
};

/// Declares --material, --thickness, --paint, --coating, --place, --access, --air, --panel, --facts, --kit
/// and
/// --coins in a group of their own. The arguments live as long as the command's callback keeps them.
std::shared_ptr<PanelArguments> add_panel_options(CLI::App& command);

/// From the file, then from the options; checked. Throws FileError and UsageError.
PanelFacts panel_facts_of(const PanelArguments& arguments);

/// Rules, kit and coins for these arguments; what they do not say of kit and coins is taken from the workshop
/// profile, if one is named. Throws FileError and UsageError.
AdviceData advice_data_for(const PanelArguments& arguments, const std::string& profile_file);

}  // namespace ripplegauge::cli
