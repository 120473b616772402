#pragma once

#include <string>
#include <vector>

namespace ripplegauge {

/// "a, b, c".
inline std::string joined(const std::vector<std::string>& words, const char* separator = ", ") {
  std::string text;
  for (const std::string& word : words) text += (text.empty() ? "" : separator) + word;
  return text;
}

}  // namespace ripplegauge
