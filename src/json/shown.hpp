// What somebody wrote into a file, as a message may repeat it.
#pragma once

#include <algorithm>
#include <string>

namespace ripplegauge {

inline bool is_control(char c) { return static_cast<unsigned char>(c) < 0x20 || c == 0x7f; }

/// Fit for a message on a terminal: short, no control characters, not cut inside a UTF-8 character.
inline std::string shown(std::string text) {
  constexpr std::size_t max_bytes = 80;
  std::replace_if(text.begin(), text.end(), is_control, '?');
  if (text.size() <= max_bytes) return text;
  std::size_t cut = max_bytes;
  while (cut > 0 && (static_cast<unsigned char>(text[cut]) & 0xC0) == 0x80) --cut;
  return text.substr(0, cut) + "...";
}

}  // namespace ripplegauge
