// How this program writes JSON: keys in the order they are set, numbers of seven significant digits (far
// below any uncertainty, and free of the noise that differs from machine to machine), NaN as null, a line
// feed at the end.
#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>

#include "ripplegauge/core/quantity.hpp"

namespace ripplegauge {

using OrderedJson = nlohmann::ordered_json;

/// The number rounded to seven significant digits; null when it is NaN or infinite.
OrderedJson json_number(double value);

inline OrderedJson json_number(const std::optional<double>& value) {
  return value ? json_number(*value) : OrderedJson(nullptr);
}

/// {"value": ..., "low": ..., "high": ...}; null when it is absent.
inline OrderedJson json_quantity(const Quantity& q) {
  return {{"value", json_number(q.value)}, {"low", json_number(q.low)}, {"high", json_number(q.high)}};
}
inline OrderedJson json_quantity(const std::optional<Quantity>& q) {
  return q ? json_quantity(*q) : OrderedJson(nullptr);
}

/// The text of a whole file. One with a schema also says the program and its version. Bytes that are no UTF-8
/// (file names may hold any) become the replacement character.
std::string json_text(const OrderedJson& value);

}  // namespace ripplegauge
