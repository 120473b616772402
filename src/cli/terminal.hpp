// What several commands need at the terminal: running text, and what the clock says.
#pragma once

#include <string>

namespace ripplegauge::cli {

/// Running text in lines of at most 78 cells; the first starts with `first`, the others with `rest`. Words
/// longer than that stand out: somebody may copy them.
std::string wrap(const std::string& text, const std::string& first, const std::string& rest);

/// Now, "YYYY-MM-DDTHH:MM:SSZ".
std::string now_utc();

/// Today where the user is, "YYYY-MM-DD".
std::string today();

}  // namespace ripplegauge::cli
