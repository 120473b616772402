// Sums, shares and rounding in whole minor units; what would overflow is refused.
#include "quote/money.hpp"

#include <array>
#include <charconv>
#include <cmath>
#include <cstdlib>

#include "core/expects.hpp"
#include "ripplegauge/core/errors.hpp"

namespace ripplegauge {

namespace {

std::int64_t checked(std::int64_t amount_minor) {
  if (amount_minor > largest_amount_minor || amount_minor < -largest_amount_minor)
    throw UsageError("an amount of more than " + std::to_string(largest_amount_minor) +
                     " minor units; look for a slip in the prices");
  return amount_minor;
}

/// Whether whole + rest / denominator, 0 <= rest < denominator, goes to whole + 1.
bool rounds_away(std::int64_t whole_part, std::int64_t rest, std::int64_t denominator, RoundingMode mode) {
  switch (mode) {
    case RoundingMode::half_up:
      return 2 * rest >= denominator;
    case RoundingMode::half_even:
      return 2 * rest > denominator || (2 * rest == denominator && whole_part % 2 == 1);
    case RoundingMode::up:
      return rest > 0;
    case RoundingMode::down:
      return false;
  }
  return false;
}

}  // namespace

const char* to_string(RoundingMode mode) {
  switch (mode) {
    case RoundingMode::half_up:
      return "half_up";
    case RoundingMode::half_even:
      return "half_even";
    case RoundingMode::up:
      return "up";
    case RoundingMode::down:
      return "down";
  }
  return "half_up";
}

std::int64_t add_minor(std::int64_t a_minor, std::int64_t b_minor) {
  return checked(checked(a_minor) + checked(b_minor));
}

std::int64_t scaled_minor(std::int64_t amount_minor, std::int64_t numerator, std::int64_t denominator,
                          RoundingMode mode) {
  if (denominator < 1 || denominator > 100'000'000 || numerator < 0 || numerator > 10 * denominator)
    throw UsageError("scaled_minor: " + std::to_string(numerator) + "/" + std::to_string(denominator) +
                     " is out of range");
  // amount = q denominator + r, so amount n / d = q n + r n / d: both products stay below 2^63.
  const std::int64_t magnitude = std::abs(checked(amount_minor));
  const std::int64_t over = (magnitude % denominator) * numerator;
  std::int64_t result = (magnitude / denominator) * numerator + over / denominator;
  if (rounds_away(result, over % denominator, denominator, mode)) ++result;
  return checked(amount_minor < 0 ? -result : result);
}

std::int64_t share_minor(std::int64_t amount_minor, Rate rate, RoundingMode mode) {
  return scaled_minor(amount_minor, rate.ppm, whole.ppm, mode);
}

std::int64_t rounded_to_step(std::int64_t amount_minor, std::int64_t step_minor, RoundingMode mode) {
  if (step_minor < 1) throw UsageError("rounded_to_step: a step must be at least one minor unit");
  const std::int64_t magnitude = std::abs(checked(amount_minor));
  std::int64_t steps = magnitude / checked(step_minor);
  if (rounds_away(steps, magnitude % step_minor, step_minor, mode)) ++steps;
  return checked(amount_minor < 0 ? -steps * step_minor : steps * step_minor);
}

std::optional<std::int64_t> minor_from_decimal(std::string_view text, int decimals) {
  const bool negative = text.starts_with('-');
  if (negative) text.remove_prefix(1);
  const std::size_t point = text.find('.');
  const std::string_view major = text.substr(0, point);
  std::string_view minor = point == std::string_view::npos ? std::string_view{} : text.substr(point + 1);
  if (major.empty() || (point != std::string_view::npos && minor.empty())) return std::nullopt;
  const auto kept = static_cast<std::size_t>(decimals);
  while (minor.size() > kept && minor.ends_with('0')) minor.remove_suffix(1);
  if (minor.size() > kept) return std::nullopt;

  std::string digits(major);
  digits.append(minor).append(kept - minor.size(), '0');
  std::int64_t amount = 0;
  for (const char digit : digits) {
    if (digit < '0' || digit > '9') return std::nullopt;
    amount = 10 * amount + (digit - '0');
    if (amount > largest_amount_minor) return std::nullopt;
  }
  return negative ? -amount : amount;
}

std::optional<std::int64_t> minor_from_double(double value, int decimals) {
  if (!std::isfinite(value) || std::abs(value) > static_cast<double>(largest_amount_minor))
    return std::nullopt;
  std::array<char, 400> text{};  // the longest shortest form: 5e-324 written out
  const auto end = std::to_chars(text.data(), text.data() + text.size(), value, std::chars_format::fixed).ptr;
  return minor_from_decimal(std::string_view(text.data(), static_cast<std::size_t>(end - text.data())),
                            decimals);
}

std::string decimal_from_minor(std::int64_t amount_minor, int decimals) {
  expects(decimals >= 0 && decimals <= 18, "decimals that 64 bits have");
  std::string digits = std::to_string(std::abs(amount_minor));
  const auto kept = static_cast<std::size_t>(decimals);
  if (digits.size() <= kept) digits.insert(0, kept + 1 - digits.size(), '0');
  if (kept > 0) digits.insert(digits.size() - kept, 1, '.');
  return amount_minor < 0 ? "-" + digits : digits;
}

std::string percent_text(Rate rate) {
  std::string text = decimal_from_minor(rate.ppm, 4);
  while (text.ends_with('0')) text.pop_back();
  if (text.ends_with('.')) text.pop_back();
  return text;
}

}  // namespace ripplegauge
