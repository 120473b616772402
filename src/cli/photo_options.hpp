// The options by which a person says how a photo was taken. Every command that measures photos shares them.
#pragma once

#include <CLI/CLI.hpp>
#include <memory>
#include <string>

#include "app/request.hpp"

namespace ripplegauge::cli {

using PhotoArguments = SaidOfPhotos;

/// Declares --board-pitch, --board-distance, --bar-length, --board, --card, --camera and --profile in a group
/// of their own.
std::shared_ptr<PhotoArguments> add_photo_options(CLI::App& command);

/// Declares --profile.
CLI::Option* add_profile_option(CLI::App& command, std::string& file);

/// As in app/request.hpp, from the program's own data folder.
CardDefinition card_or_standard(const std::string& file);
CardDefinition card_for(const PhotoArguments& arguments);
MeasureRequest request_for(const PhotoArguments& arguments, std::size_t index, std::size_t count);

/// Threads to work on: as many as were asked for, else one for each processor.
int processors(int asked_for = 0);

}  // namespace ripplegauge::cli
