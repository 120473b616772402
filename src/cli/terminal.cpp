#include "terminal.hpp"

#include <ctime>

#include "ripplegauge/words/text.hpp"

namespace ripplegauge::cli {
namespace {

std::string formatted(const std::tm& time, const char* pattern) {
  char text[32];
  std::strftime(text, sizeof text, pattern, &time);
  return text;
}

}  // namespace

std::string wrap(const std::string& text, const std::string& first, const std::string& rest) {
  constexpr int widest = 78;
  const std::vector<std::string> lines = broken(
      text, widest - display_width(first), widest - display_width(rest), display_width, LongWords::stand_out);
  if (lines.empty()) return first + "\n";
  std::string out = first;
  for (std::size_t i = 0; i < lines.size(); ++i) out += (i == 0 ? "" : rest) + lines[i] + "\n";
  return out;
}

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

}  // namespace ripplegauge::cli
