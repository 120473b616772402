// The words that stand for the values of an enum: in JSON, on the command line and in sentences.
#pragma once

#include <algorithm>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace ripplegauge {

/// Specialise with `static constexpr std::pair<E, const char*> list[]`: every value once, words in
/// snake_case.
template <class E>
struct EnumWords;

template <class E>
const char* word(E value) {
  for (const auto& [candidate, text] : EnumWords<E>::list)
    if (candidate == value) return text;
  return "?";
}

/// The word as it reads in a sentence: "body_line" becomes "body line".
template <class E>
std::string spoken(E value) {
  std::string text = word(value);
  std::replace(text.begin(), text.end(), '_', ' ');
  return text;
}

template <class E>
std::optional<E> from_word(std::string_view text) {
  for (const auto& [value, candidate] : EnumWords<E>::list)
    if (text == candidate) return value;
  return std::nullopt;
}

template <class E>
std::vector<std::string> all_words() {
  std::vector<std::string> words;
  for (const auto& [value, text] : EnumWords<E>::list) words.emplace_back(text);
  return words;
}

}  // namespace ripplegauge
