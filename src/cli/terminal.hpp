// What several commands need at the terminal: running text, and what the clock says.
#pragma once

#include <cstdio>
#include <string>

namespace ripplegauge::cli {

/// As printf has it, up to 255 characters.
std::string format(const char* pattern, auto... values) {
  char text[256];
  std::snprintf(text, sizeof text, pattern, values...);
  return text;
}

/// Running text in lines of at most 78 characters; the first starts with `first`, the others with `rest`.
std::string wrap(const std::string& text, const std::string& first, const std::string& rest);

/// Now, "YYYY-MM-DDTHH:MM:SSZ".
std::string now_utc();

/// Today where the user is, "YYYY-MM-DD".
std::string today();

}  // namespace ripplegauge::cli
