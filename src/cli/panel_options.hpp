// The options by which a person says what a photo cannot show. Several commands share them.
#pragma once

#include <CLI/CLI.hpp>
#include <memory>
#include <string>

#include "ripplegauge/advice/plan.hpp"

namespace ripplegauge::cli {

struct PanelArguments {
  PanelFacts facts;
  std::string kit;  ///< empty: kit.json of the data folder, if there is one
  std::string coins = "us";
};

/// Declares --material, --thickness, --paint, --coating, --place, --access, --air, --panel, --kit and --coins
/// in a group of their own. The arguments live as long as the command's callback keeps them.
std::shared_ptr<PanelArguments> add_panel_options(CLI::App& command);

/// Rules, kit and coins for these arguments; checks the facts. Throws FileError and UsageError.
AdviceData advice_data_for(const PanelArguments& arguments);

}  // namespace ripplegauge::cli
