#include "ripplegauge/json/json_write.hpp"

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

std::string json_text(const OrderedJson& value) {
  return value.dump(2, ' ', false, OrderedJson::error_handler_t::replace) + "\n";
}

}  // namespace ripplegauge
