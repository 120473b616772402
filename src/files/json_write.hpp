// How this program writes JSON: keys in the order they are set, numbers of seven significant digits (far
// below any uncertainty, and free of the noise that differs from machine to machine), NaN as null, a line
// feed at the end.
#pragma once

#include <nlohmann/json.hpp>
#include <optional>
#include <string>

namespace ripplegauge {

using OrderedJson = nlohmann::ordered_json;

/// The number rounded to seven significant digits; null when it is NaN or infinite.
OrderedJson json_number(double value);

inline OrderedJson json_number(const std::optional<double>& value) {
  return value ? json_number(*value) : OrderedJson(nullptr);
}

/// The text of a whole file. Bytes that are no UTF-8 (file names may hold any) become the replacement
/// character.
std::string json_text(const OrderedJson& value);

}  // namespace ripplegauge
