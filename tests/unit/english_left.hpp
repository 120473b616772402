// Whether something is still in English: sentences and phrases of the English texts that stand in another
// language's output.
#pragma once

#include <string>
#include <vector>

#include "words/wording.hpp"

namespace ripplegauge::test {

inline std::vector<std::string> english_left_in(const std::string& output) {
  std::vector<std::string> left;
  for (const auto& [key, text] : *texts_of_language("en")) {
    const std::string part = text.substr(0, text.find('{'));  // what stands before the first name
    const bool a_phrase = part.find(' ') != std::string::npos && part.size() >= 8;
    if (a_phrase && output.find(part) != std::string::npos) left.push_back(key + ": " + part);
  }
  return left;
}

}  // namespace ripplegauge::test
