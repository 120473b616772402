#include "ripplegauge/quote/text.hpp"

#include <unicode/uchar.h>
#include <unicode/unistr.h>
#include <unicode/utf8.h>

#include <algorithm>
#include <utility>

namespace ripplegauge {

namespace {

int cells(UChar32 character) {
  if (character < 0) return 1;  // no UTF-8: shown as a replacement character
  switch (u_charType(character)) {
    case U_NON_SPACING_MARK:
    case U_ENCLOSING_MARK:
    case U_FORMAT_CHAR:
    case U_CONTROL_CHAR:
      return 0;
    default:
      break;
  }
  const int width = u_getIntPropertyValue(character, UCHAR_EAST_ASIAN_WIDTH);
  return width == U_EA_WIDE || width == U_EA_FULLWIDTH ? 2 : 1;
}

/// The longest beginning of text that takes at most `width` cells, at least one character; its bytes.
std::size_t bytes_within(std::string_view text, int width) {
  int32_t at = 0, fits = 0;
  const auto size = static_cast<int32_t>(text.size());
  for (int taken = 0; at < size;) {
    UChar32 character = 0;
    U8_NEXT(text.data(), at, size, character);
    taken += cells(character);
    if (taken > width && fits > 0) break;
    fits = at;
    if (taken > width) break;
  }
  return static_cast<std::size_t>(fits);
}

}  // namespace

int display_width(std::string_view text) {
  int width = 0;
  const auto size = static_cast<int32_t>(text.size());
  for (int32_t at = 0; at < size;) {
    UChar32 character = 0;
    U8_NEXT(text.data(), at, size, character);
    width += cells(character);
  }
  return width;
}

bool is_utf8(std::string_view text) {
  const auto size = static_cast<int32_t>(text.size());
  for (int32_t at = 0; at < size;) {
    UChar32 character = 0;
    U8_NEXT(text.data(), at, size, character);
    if (character < 0) return false;
  }
  return true;
}

std::string utf8_from_utf16(std::string_view bytes, bool big_endian) {
  std::string text;
  const auto unit = [&](std::size_t i) {
    const auto first = static_cast<unsigned char>(bytes[i]),
               second = static_cast<unsigned char>(bytes[i + 1]);
    return static_cast<char16_t>(big_endian ? first * 256 + second : second * 256 + first);
  };
  icu::UnicodeString units;
  for (std::size_t i = 0; i + 1 < bytes.size(); i += 2) units.append(unit(i));
  return units.toUTF8String(text);
}

std::string printable(std::string_view text) {
  std::string clean;
  for (const char c : text) {
    const bool control = static_cast<unsigned char>(c) < 0x20 || c == 0x7f;
    clean += control ? std::string("\xEF\xBF\xBD") : std::string(1, c);
  }
  return clean;
}

std::string padded_right(std::string text, int width) {
  text.append(static_cast<std::size_t>(std::max(0, width - display_width(text))), ' ');
  return text;
}

std::string padded_left(std::string text, int width) {
  text.insert(0, static_cast<std::size_t>(std::max(0, width - display_width(text))), ' ');
  return text;
}

std::vector<std::string> wrapped(std::string_view text, int width) {
  std::vector<std::string> lines;
  std::string line;
  const auto flush = [&] {
    if (!line.empty()) lines.push_back(std::exchange(line, {}));
  };
  while (true) {
    const auto start = text.find_first_not_of(" \n\t");
    if (start == std::string_view::npos) break;
    text.remove_prefix(start);
    std::string_view word = text.substr(0, text.find_first_of(" \n\t"));
    text.remove_prefix(word.size());
    if (!line.empty() && display_width(line) + 1 + display_width(word) > width) flush();
    while (display_width(word) > width) {
      flush();
      const std::size_t cut = bytes_within(word, width);
      lines.emplace_back(word.substr(0, cut));
      word.remove_prefix(cut);
    }
    if (word.empty()) continue;
    if (!line.empty()) line += ' ';
    line += word;
  }
  flush();
  return lines;
}

}  // namespace ripplegauge
