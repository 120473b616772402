// Which values of EXIF tags are believed, whoever reads them.
#pragma once

#include <string>

#include "exif.hpp"

namespace ripplegauge::photo_detail {

inline void set_orientation(ExifFacts& facts, double value) {
  if (value >= 1 && value <= 8) facts.orientation = static_cast<int>(value);
}

/// No phone's lens lies outside: the widest have 13 mm, the longest, digital zoom included, some 250 mm.
inline void set_focal_35mm(ExifFacts& facts, double value_mm) {
  constexpr double shortest_mm = 8, longest_mm = 300;
  if (value_mm >= shortest_mm && value_mm <= longest_mm) facts.focal_35mm_mm = value_mm;
}

/// "2026:03:14 10:00:00" -> "2026-03-14 10:00:00"; empty for what cameras without a clock write, blanks or
/// zeros.
inline std::string plain_date(const std::string& exif_date) {
  constexpr char pattern[] = "0000:00:00 00:00:00";
  if (exif_date.size() < sizeof pattern - 1) return {};
  std::string date = exif_date.substr(0, sizeof pattern - 1);
  for (std::size_t i = 0; i < date.size(); ++i) {
    const bool digit = date[i] >= '0' && date[i] <= '9';
    if (pattern[i] == '0' ? !digit : date[i] != pattern[i]) return {};
  }
  if (date.compare(0, 4, "0000") == 0) return {};
  date[4] = date[7] = '-';
  return date;
}

}  // namespace ripplegauge::photo_detail
