// The options by which a person says how a photo was taken. Every command that measures photos shares them.
#pragma once

#include <CLI/CLI.hpp>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "ripplegauge/measure/measure.hpp"

namespace ripplegauge::cli {

struct PhotoArguments {
  std::vector<double> pitch_mm, distance_mm;  ///< one for all photos, or one for each
  std::optional<double> bar_mm;
  std::string board_file, card_file, camera_file, profile_file;
};

/// Declares --board-pitch, --board-distance, --bar-length, --board, --card, --camera and --profile in a group
/// of their own.
std::shared_ptr<PhotoArguments> add_photo_options(CLI::App& command);

/// Declares --profile.
CLI::Option* add_profile_option(CLI::App& command, std::string& file);

/// The card of this file; of an empty name the standard corner card. Throws FileError.
CardDefinition card_or_standard(const std::string& file);

/// The card that these arguments mean. Throws FileError.
CardDefinition card_for(const PhotoArguments& arguments);

/// The request for photo `index` of `count`: the command line goes before the workshop profile, the profile
/// before what comes with the program. Throws FileError, and UsageError for a pitch that is missing or
/// numbers that do not fit.
MeasureRequest request_for(const PhotoArguments& arguments, std::size_t index, std::size_t count);

/// Threads to work on: as many as were asked for, else one for each processor.
int processors(int asked_for = 0);

}  // namespace ripplegauge::cli
