// The trade speaks in coins. Not the hail names of weather services: those are other sizes under the same
// names.
#pragma once

#include <string>
#include <vector>

namespace ripplegauge {

struct Coin {
  std::string name;
  double diameter_mm = 0;
};

struct CoinSet {
  std::string country;  ///< as chosen on the command line, such as "us"
  std::string source;
  std::vector<Coin> coins;
};

/// Throws UsageError that lists the known countries.
const CoinSet& coins_of(const std::vector<CoinSet>& sets, const std::string& country);

/// "about a quarter (24.3 mm)", or between the neighbours, or how the size compares to the smallest and the
/// largest coin. Empty if there are no coins or the diameter is not known.
std::string in_coins(const CoinSet& set, double diameter_mm);

}  // namespace ripplegauge
