// Running text at the terminal.
#include "terminal.hpp"

#include <vector>

#include "words/text.hpp"

namespace ripplegauge::cli {

std::string wrap(const std::string& text, const std::string& first, const std::string& rest) {
  constexpr int widest = 78;
  const std::vector<std::string> lines = broken(
      text, widest - display_width(first), widest - display_width(rest), display_width, LongWords::stand_out);
  if (lines.empty()) return first + "\n";
  std::string out = first;
  for (std::size_t i = 0; i < lines.size(); ++i) out += (i == 0 ? "" : rest) + lines[i] + "\n";
  return out;
}

}  // namespace ripplegauge::cli
