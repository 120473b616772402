// The languages that come with the program, as the build puts them together from texts/*.txt.
#pragma once

#include <span>
#include <string_view>

namespace ripplegauge {

struct EmbeddedText {
  std::string_view language, lines;
};
std::span<const EmbeddedText> embedded_texts();

}  // namespace ripplegauge
