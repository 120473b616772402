#pragma once

#include <filesystem>
#include <optional>
#include <string>

namespace ripplegauge {

/// What stays the same from photo to photo in one workshop, so that nobody need type it each time. Everything
/// is optional; the command line goes before the profile.
struct WorkshopProfile {
  std::optional<double> board_pitch_mm, board_distance_mm, bar_length_mm;
  std::optional<std::filesystem::path> card_file, board_file, camera_file, kit_file;
  std::optional<std::string> coin_country;
  /// Of quotes, comparisons and their pages: a language's texts, a locale for numbers and dates ("de-DE"),
  /// "a4" or "letter".
  std::optional<std::string> language, locale, paper;
};

}  // namespace ripplegauge
