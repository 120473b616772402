// Running text at the terminal.
#pragma once

#include <string>

namespace ripplegauge::cli {

/// Running text in lines of at most 78 cells; the first starts with `first`, the others with `rest`. Words
/// longer than that stand out: somebody may copy them.
std::string wrap(const std::string& text, const std::string& first, const std::string& rest);

}  // namespace ripplegauge::cli
