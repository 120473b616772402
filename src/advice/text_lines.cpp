// Lines of a plan: broken at blanks, a number never parted from its unit.
#include "text_lines.hpp"

#include <algorithm>

namespace ripplegauge {
namespace {

/// Code points: none of our words combines characters or is wide.
int length_of(std::string_view text) {
  return static_cast<int>(std::count_if(
      text.begin(), text.end(), [](char c) { return (static_cast<unsigned char>(c) & 0xC0) != 0x80; }));
}

/// Bytes up to the end of the first word. A unit stays with its number.
std::size_t word_end(std::string_view text) {
  std::size_t end = std::min(text.find(' '), text.size());
  for (const std::string_view unit : {"mm", "°C", "%", "mrad", "s"}) {
    const std::string_view rest = text.substr(std::min(end + 1, text.size()));
    if (!rest.starts_with(unit)) continue;
    const std::string_view after = rest.substr(unit.size());
    if (after.empty() || std::string_view(" ,;:.]").find(after.front()) != std::string_view::npos)
      return std::min(text.find(' ', end + 1), text.size());
  }
  return end;
}

}  // namespace

void TextLines::add(const std::string& first, std::string_view text) {
  const int indent = length_of(first);
  std::string line = first;
  bool empty = true;
  while (!text.empty()) {
    const std::size_t end = word_end(text);
    const std::string_view word = text.substr(0, end);
    text.remove_prefix(std::min(end + 1, text.size()));
    if (word.empty()) continue;
    if (!empty && length_of(line) + 1 + length_of(word) > width_) {
      text_ += line + '\n';
      line.assign(static_cast<std::size_t>(indent), ' ');
      empty = true;
    }
    if (!empty) line += ' ';
    line += word;
    empty = false;
  }
  text_ += line + '\n';
}

}  // namespace ripplegauge
