// What both kinds of price file have in common: words, and checks of the finished table.
#pragma once

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <utility>
#include <vector>

#include "quote/price_table.hpp"

namespace ripplegauge {

/// The value whose to_string is this word, among the given ones.
template <class T>
std::optional<T> value_of_word(std::string_view word, std::initializer_list<T> values) {
  for (const T value : values)
    if (word == to_string(value)) return value;
  return std::nullopt;
}

template <class T>
std::vector<std::string> words_of(std::initializer_list<T> values) {
  std::vector<std::string> words;
  for (const T value : values) words.emplace_back(to_string(value));
  return words;
}

inline constexpr std::initializer_list<StraddlePolicy> policies = {
    StraddlePolicy::nearest, StraddlePolicy::lower, StraddlePolicy::upper};
inline constexpr std::initializer_list<SizeMeasure> size_measures = {SizeMeasure::diameter,
                                                                     SizeMeasure::length};
inline constexpr std::initializer_list<Per> pers = {Per::spot, Per::panel, Per::job};
inline constexpr std::initializer_list<SurchargeBase> surcharge_bases = {SurchargeBase::price,
                                                                         SurchargeBase::running};
inline constexpr std::initializer_list<RoundingMode> rounding_modes = {
    RoundingMode::half_up, RoundingMode::half_even, RoundingMode::up, RoundingMode::down};
inline constexpr std::initializer_list<RoundingPlace> rounding_places = {RoundingPlace::once,
                                                                         RoundingPlace::per_line};

/// How much a price file may hold, whichever kind it is: what is read from a table must fit into JSON.
inline constexpr std::size_t longest_name = 200, most_severities = 100, most_bands = 1000,
                             most_prices = 20000,
                             most_extras = 1000;  ///< surcharges, caps and items

/// Percentages have four decimals at most: 8.875 % is 88 750 parts per million.
inline constexpr int percent_decimals = 4;

/// Works out what rows and items with hours cost, once the whole table is read.
void price_the_hours(PriceTable& table);

/// Throws the first problem of the table as a ConfigError of this file; also for a currency or locale that
/// nobody knows.
void check_prices(const PriceTable& table, const std::string& file);

}  // namespace ripplegauge
