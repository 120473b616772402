// Money as whole minor units (cents, yen, fils): every sum is exact, and every rounding is asked for by name.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>

namespace ripplegauge {

/// Amounts beyond this are a slip in a price file, not a quote; it also keeps every product below inside 64
/// bits.
constexpr std::int64_t largest_amount_minor = 1'000'000'000'000'000;

/// No single price is larger, so that a million of them still multiply inside 64 bits.
constexpr std::int64_t largest_price_minor = 1'000'000'000'000;

struct Currency {
  std::string code;  ///< three letters, ISO 4217
  int decimals = 2;  ///< minor units in a major one, as a power of ten: 0 for yen, 3 for dinar
};

/// How an amount that falls between two minor units is rounded. All act on the magnitude, so that a discount
/// is rounded as the same amount without its sign would be.
enum class RoundingMode {
  half_up,    ///< to the nearest, a half away from zero
  half_even,  ///< to the nearest, a half to the even neighbour
  up,         ///< away from zero
  down,       ///< towards zero
};

const char* to_string(RoundingMode mode);

/// A share of an amount in parts per million of it: 19 % is 190 000, and 8.875 % is exact.
struct Rate {
  std::int64_t ppm = 0;
  bool operator==(const Rate&) const = default;
};

constexpr std::int64_t ppm_per_percent = 10'000;
constexpr Rate whole{100 * ppm_per_percent};
constexpr Rate largest_rate{1000 * ppm_per_percent};

/// a + b. Throws UsageError beyond largest_amount_minor.
std::int64_t add_minor(std::int64_t a_minor, std::int64_t b_minor);

/// amount * numerator / denominator, rounded once. Needs 0 <= numerator <= 10 denominator, denominator <=
/// 10^8.
std::int64_t scaled_minor(std::int64_t amount_minor, std::int64_t numerator, std::int64_t denominator,
                          RoundingMode mode);

/// A rate's share of an amount.
std::int64_t share_minor(std::int64_t amount_minor, Rate rate, RoundingMode mode);

/// The amount as a multiple of a step, such as the smallest coin in use. A step of 1 leaves it as it is.
std::int64_t rounded_to_step(std::int64_t amount_minor, std::int64_t step_minor, RoundingMode mode);

/// "1234.5" -> 123450 with two decimals. Absent for anything but digits with at most one '.' and a leading
/// '-', for more decimals than asked for (unless they are zeros), and beyond largest_amount_minor.
std::optional<std::int64_t> minor_from_decimal(std::string_view text, int decimals);

/// The amount that a number read from JSON was written as: the shortest decimal that reads back as this
/// double.
std::optional<std::int64_t> minor_from_double(double value, int decimals);

/// 123450 -> "1234.50": for machines, whatever the locale.
std::string decimal_from_minor(std::int64_t amount_minor, int decimals);

/// 190 000 -> "19", 88 750 -> "8.875": no trailing zeros.
std::string percent_text(Rate rate);

}  // namespace ripplegauge
