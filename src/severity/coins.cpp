// A diameter in coins of a country.
#include "severity/coins.hpp"

#include <algorithm>
#include <cmath>

#include "ripplegauge/core/errors.hpp"
#include "severity/severity.hpp"

namespace ripplegauge {
namespace {

std::string with_size(const Coin& coin) { return coin.name + " (" + shown(coin.diameter_mm, 1) + " mm)"; }

}  // namespace

const CoinSet& coins_of(const std::vector<CoinSet>& sets, const std::string& country) {
  std::string known;
  for (const CoinSet& set : sets) {
    if (set.country == country) return set;
    known += (known.empty() ? "" : ", ") + set.country;
  }
  throw UsageError("no coins are known for \"" + country + "\"; choose one of: " + known);
}

const CoinSet& coins_for_locale(const std::vector<CoinSet>& sets, const std::string& locale) {
  const std::string region = locale.substr(std::min(locale.find_last_of("-_") + 1, locale.size()));
  for (const CoinSet& set : sets)
    if (std::find(set.regions.begin(), set.regions.end(), region) != set.regions.end()) return set;
  return sets.at(0);
}

std::string in_coins(const CoinSet& set, double diameter_mm) {
  if (set.coins.empty() || !std::isfinite(diameter_mm)) return "";
  std::vector<Coin> coins = set.coins;
  std::sort(coins.begin(), coins.end(),
            [](const Coin& a, const Coin& b) { return a.diameter_mm < b.diameter_mm; });
  const auto nearest = std::min_element(coins.begin(), coins.end(), [&](const Coin& a, const Coin& b) {
    return std::abs(a.diameter_mm - diameter_mm) < std::abs(b.diameter_mm - diameter_mm);
  });
  // Within 5 % a person calls two discs equal in size; further off the neighbouring coin says more.
  constexpr double same_share = 0.05;
  if (std::abs(nearest->diameter_mm - diameter_mm) <= same_share * nearest->diameter_mm)
    return "like a " + with_size(*nearest);
  if (nearest->diameter_mm < diameter_mm) return "larger than a " + with_size(*nearest);
  return "smaller than a " + with_size(*nearest);
}

}  // namespace ripplegauge
