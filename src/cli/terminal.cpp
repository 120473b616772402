#include "terminal.hpp"

#include <algorithm>
#include <ctime>

namespace ripplegauge::cli {
namespace {

std::string formatted(const std::tm& time, const char* pattern) {
  char text[32];
  std::strftime(text, sizeof text, pattern, &time);
  return text;
}

}  // namespace

std::string wrap(const std::string& text, const std::string& first, const std::string& rest) {
  constexpr std::size_t widest = 78;
  std::string out, line = first;
  bool empty = true;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t end = std::min(text.find(' ', at), text.size());
    const std::string word = text.substr(at, end - at);
    at = end + 1;
    if (!empty && line.size() + 1 + word.size() > widest) {
      out += line + "\n";
      line = rest;
      empty = true;
    }
    line += (empty ? "" : " ") + word;
    empty = false;
  }
  return out + line + "\n";
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
