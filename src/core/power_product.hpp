#pragma once

#include <algorithm>
#include <cmath>
#include <initializer_list>

#include "ripplegauge/core/quantity.hpp"

namespace ripplegauge {

struct Power {
  Quantity quantity;
  double exponent = 1;
};

/// factor · q1^p1 · q2^p2 ... of independent positive quantities, with its interval: relative uncertainties
/// times their exponents add in quadrature (JCGM 100:2008, 5.1.6, equation 12). They are taken in logarithms
/// and each side on its own, so that a wide or lopsided interval stays positive; a bound at or below zero
/// counts as a thousandth of the value.
inline Quantity power_product(double factor, std::initializer_list<Power> powers) {
  double value = factor, down = 0, up = 0;
  for (const auto& [q, exponent] : powers) {
    value *= std::pow(q.value, exponent);
    const double lower = std::log(std::max(q.low, 1e-3 * q.value) / q.value) * exponent;
    const double upper = std::log(std::max(q.high, q.value) / q.value) * exponent;
    down += std::pow(std::min(lower, upper), 2);
    up += std::pow(std::max(lower, upper), 2);
  }
  return {value, value * std::exp(-std::sqrt(down)), value * std::exp(std::sqrt(up))};
}

}  // namespace ripplegauge
