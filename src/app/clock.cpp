// The only place that asks what time it is.
#include "app/clock.hpp"

#include <ctime>

namespace ripplegauge {
namespace {

std::string formatted(const std::tm& time, const char* pattern) {
  char text[32];
  std::strftime(text, sizeof text, pattern, &time);
  return text;
}

}  // namespace

std::string now_utc() {
  const std::time_t now = std::time(nullptr);
  std::tm time{};
  gmtime_r(&now, &time);
  return formatted(time, "%Y-%m-%dT%H:%M:%SZ");
}

std::string today() {
  const std::time_t now = std::time(nullptr);
  std::tm time{};
  localtime_r(&now, &time);
  return formatted(time, "%Y-%m-%d");
}

}  // namespace ripplegauge
