// What of the words needs no knowledge of scripts: ASCII's blanks, its letters, and figures.
#include <fmt/format.h>

#include "words/text.hpp"

namespace ripplegauge {

std::string trimmed(std::string_view text) {
  constexpr std::string_view blanks = " \t\r\n";
  const auto first = text.find_first_not_of(blanks);
  if (first == std::string_view::npos) return "";
  return std::string(text.substr(first, text.find_last_not_of(blanks) - first + 1));
}

std::string lower_case(std::string_view text) {
  std::string lower(text);
  for (char& c : lower)
    if (c >= 'A' && c <= 'Z') c = static_cast<char>(c - 'A' + 'a');
  return lower;
}

std::string capitalised(std::string text) {
  const auto byte = [&](std::size_t i) { return i < text.size() ? static_cast<unsigned char>(text[i]) : 0u; };
  if (byte(0) >= 'a' && byte(0) <= 'z') text[0] = static_cast<char>(byte(0) - 'a' + 'A');
  // U+00E0 to U+00FE but the sign of division; their capitals stand 32 before them.
  const bool latin_1 = byte(0) == 0xC3 && byte(1) >= 0xA0 && byte(1) <= 0xBE && byte(1) != 0xB7;
  if (latin_1) text[1] = static_cast<char>(byte(1) - 0x20);
  return text;
}

std::string with_full_stop(std::string sentence) {
  if (sentence.empty() || std::string_view(".?!").find(sentence.back()) == std::string_view::npos)
    sentence += '.';
  return sentence;
}

std::string figure(double value, int decimals) {
  std::string text = fmt::format("{:.{}f}", value, decimals);
  if (text.front() == '-' && text.find_first_not_of("-0.") == std::string::npos) text.erase(0, 1);
  return text;
}

}  // namespace ripplegauge
