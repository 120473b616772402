// Sentences in millimetres and degrees Celsius, as people read them who think in inches and Fahrenheit.
#pragma once

#include <string>
#include <string_view>

namespace ripplegauge {

struct ShownUnits {
  bool inches = false, fahrenheit = false;
  bool any() const { return inches || fahrenheit; }
};

/// What the numbers on an axis are told in.
struct AxisUnit {
  const char* name;
  double per_mm;
};
/// Inches where they are asked for, else millimetres.
AxisUnit length_unit(const ShownUnits& units);

/// Temperatures turned into °F, and inches in square brackets behind the millimetres, since a sentence may go
/// on with numbers that have no unit of their own: "17.2 mm [0.68 in]", "34 to 40 °C" becomes "93 to 104 °F".
std::string in_units(std::string_view text, const ShownUnits& units);

}  // namespace ripplegauge
