#pragma once

#include <filesystem>
#include <string>

#include "core/workshop_profile.hpp"

namespace ripplegauge {

/// Reads a workshop profile; every key but the schema may be left out or null:
///   {"schema": 1, "board_pitch_mm": 16, "board_distance_mm": 450, "bar_length_mm": 99.2,
///    "card_file": "card-corner.json", "board_file": null, "camera_file": null, "kit_file": null,
///    "coin_country": "us", "language": "de", "locale": "de-DE", "paper": "a4"}
/// A file that is named without a full path is looked for in the profile's own folder, then in `data_folder`
/// (where the program's own cards and boards stand), so that a profile may be copied anywhere. Throws
/// FileError, also for a file that stands in neither.
WorkshopProfile read_workshop(const std::filesystem::path& file,
                              const std::filesystem::path& data_folder = {});

/// The profile's text for a file in `folder`: files below that folder are named from there, so that the
/// folder may be moved; those of `data_folder` by their name alone; others by their full path.
std::string workshop_to_json(const WorkshopProfile& profile, const std::filesystem::path& folder,
                             const std::filesystem::path& data_folder = {});

}  // namespace ripplegauge
