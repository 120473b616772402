// How facts are written down. Not part of the library's interface.
#pragma once

#include <string>
#include <utility>

#include "advice/rules.hpp"
#include "advice/step.hpp"
#include "severity/severity.hpp"

namespace ripplegauge {

inline Fact named_fact(std::string name, std::string value, std::string source) {
  return {std::move(name), std::move(value), std::move(source), std::nullopt, ""};
}

inline Fact number_fact(std::string name, const Quantity& number, std::string unit, std::string source) {
  std::string value = shown(number, unit);
  return {std::move(name), std::move(value), std::move(source), number, std::move(unit)};
}

inline Fact number_fact(std::string name, double number, std::string unit, std::string source) {
  std::string value = shown(number, 1) + (unit.empty() ? "" : " " + unit);
  return {std::move(name), std::move(value), std::move(source), Quantity{number, number, number},
          std::move(unit)};
}

inline Fact range_fact(std::string name, double low, double high, std::string unit, std::string source) {
  std::string value = shown(low, 1) + "–" + shown(high, 1) + " " + unit;
  return {std::move(name), std::move(value), std::move(source), Quantity{0.5 * (low + high), low, high},
          std::move(unit)};
}

/// What the user said of the panel, or that nobody did.
template <class E>
Fact panel_fact(std::string name, E value) {
  return named_fact(std::move(name), spoken(value), value == E::unknown ? "assumed" : "given");
}

}  // namespace ripplegauge
