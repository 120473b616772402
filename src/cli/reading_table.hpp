#pragma once

#include <string>

#include "ripplegauge/core/reading.hpp"
#include "severity/coins.hpp"

namespace ripplegauge::cli {

struct ReadingTableOptions {
  bool budget = false;
  const CoinSet* coins = nullptr;  ///< to say sizes in coins
};

/// A reading for the terminal: at most 80 columns, plain text.
std::string reading_table(const Reading& reading, const ReadingTableOptions& options = {});

}  // namespace ripplegauge::cli
