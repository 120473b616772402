#pragma once

#include <optional>
#include <string>

namespace ripplegauge::photo_detail {

struct ExifFacts {
  int orientation = 1;                  ///< 1..8
  std::optional<double> focal_35mm_mm;  ///< absent when no phone has it, as 0, which means unknown
  std::string date_taken;               ///< "YYYY-MM-DD HH:MM:SS", empty when unknown
};

/// What an EXIF block (from its TIFF header on) says; a broken block says nothing. Never throws, never
/// prints.
ExifFacts exif_facts(const std::string& block);

}  // namespace ripplegauge::photo_detail
