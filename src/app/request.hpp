// From what a person says of a photo, by options or in a workshop profile, to the request that is measured.
// Every front end shares it.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/measure/measure.hpp"

namespace ripplegauge {

/// As it was said; empty names of files: none.
struct SaidOfPhotos {
  std::vector<double> pitch_mm, distance_mm;  ///< one for all photos, or one for each
  std::optional<double> bar_mm;
  std::string board_file, card_file, camera_file, profile_file;
};

/// Nobody said what the board's pitch is. The front end adds how it is said.
class PitchMissing : public UsageError {
 public:
  PitchMissing();
};

/// The card of this file; of an empty name the standard corner card of the data folder. Throws FileError.
CardDefinition card_or_standard(const std::string& file, const std::filesystem::path& data_folder);

/// The card that was meant. Throws FileError.
CardDefinition card_for(const SaidOfPhotos& said, const std::filesystem::path& data_folder);

/// The request for photo `index` of `count`: what was said goes before the workshop profile, the profile
/// before what comes with the program. Throws FileError, PitchMissing, and UsageError for numbers that do not
/// fit.
MeasureRequest request_for(const SaidOfPhotos& said, std::size_t index, std::size_t count,
                           const std::filesystem::path& data_folder);

}  // namespace ripplegauge
