// Keys in order, seven significant digits, and which program wrote the file.
#include "json/json_write.hpp"

#include <charconv>
#include <cmath>

namespace ripplegauge {

OrderedJson json_number(double value) {
  if (!std::isfinite(value)) return nullptr;
  // to_chars and from_chars, unlike printf and strtod, do not depend on the locale.
  char text[32];
  constexpr int significant_digits = 7;
  const auto written =
      std::to_chars(text, text + sizeof text, value, std::chars_format::scientific, significant_digits - 1);
  double rounded = value;
  std::from_chars(text, written.ptr, rounded);
  return rounded == 0 ? 0.0 : rounded;  // no "-0.0"
}

namespace {

/// Behind "schema", so that a file says which program wrote it; once for each reading of a list.
OrderedJson with_program(const OrderedJson& value) {
  if (value.is_array()) {
    OrderedJson array = OrderedJson::array();
    for (const OrderedJson& one : value) array.push_back(with_program(one));
    return array;
  }
  if (!value.is_object() || !value.contains("schema") || value.contains("program")) return value;
  OrderedJson object = OrderedJson::object();
  for (const auto& [key, member] : value.items()) {
    object[key] = member;
    if (key == "schema") object["program"] = "ripplegauge " RIPPLEGAUGE_VERSION;
  }
  return object;
}

}  // namespace

std::string json_text(const OrderedJson& given) {
  const OrderedJson value = with_program(given);
  return value.dump(2, ' ', false, OrderedJson::error_handler_t::replace) + "\n";
}

}  // namespace ripplegauge
