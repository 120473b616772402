#pragma once

#include <chrono>
#include <optional>
#include <string>

namespace ripplegauge {

/// The time of a photo from its EXIF text "YYYY-MM-DD HH:MM:SS" (or with colons in the date), the camera's
/// local clock; absent for anything else.
std::optional<std::chrono::sys_seconds> photo_time(const std::string& date_taken);

std::optional<double> minutes_between(const std::string& earlier, const std::string& later);

}  // namespace ripplegauge
