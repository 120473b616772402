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
  std::string country;               ///< as chosen on the command line, such as "us"
  std::vector<std::string> regions;  ///< where it is used, by ISO 3166-1, as in locales
  std::string source;
  std::vector<Coin> coins;
};

/// Throws UsageError that lists the known countries.
const CoinSet& coins_of(const std::vector<CoinSet>& sets, const std::string& country);
/// Where no country is told: those of a locale's region ("de-DE"), else the first.
const CoinSet& coins_for_locale(const std::vector<CoinSet>& sets, const std::string& locale);

/// "about a quarter (24.3 mm)", or between the neighbours, or how the size compares to the smallest and the
/// largest coin. Empty if there are no coins or the diameter is not known.
std::string in_coins(const CoinSet& set, double diameter_mm);

}  // namespace ripplegauge
