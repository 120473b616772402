// Sentences with numbers in them.
#pragma once

#include <cstdio>
#include <string>

namespace ripplegauge {

/// As printf has it, up to 399 characters.
std::string format(const char* pattern, auto... values) {
  char text[400];
  std::snprintf(text, sizeof text, pattern, values...);
  return text;
}

}  // namespace ripplegauge
