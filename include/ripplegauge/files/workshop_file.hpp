#pragma once

#include <filesystem>

#include "ripplegauge/core/workshop_profile.hpp"

namespace ripplegauge {

/// Reads a workshop profile; every key but the schema may be left out or null:
///   {"schema": 1, "board_pitch_mm": 16, "board_distance_mm": 450, "bar_length_mm": 99.2,
///    "card_file": "card-corner.json", "board_file": null, "camera_file": null, "coin_country": "us"}
/// File names are taken from the profile's own folder. Throws FileError.
WorkshopProfile read_workshop(const std::filesystem::path& file);

}  // namespace ripplegauge
