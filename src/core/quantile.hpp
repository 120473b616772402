#pragma once

#include <algorithm>
#include <cstddef>
#include <vector>

namespace ripplegauge {

/// The middle value, of an even number the upper one. Reorders `values`, which must not be empty.
template <class T>
T median_of(std::vector<T>& values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

/// The value below which about `share` (0..1) of the values lie. Reorders `values`, which must not be empty.
template <class T>
T quantile_of(std::vector<T>& values, double share) {
  const auto at =
      values.begin() + static_cast<std::ptrdiff_t>(share * static_cast<double>(values.size() - 1));
  std::nth_element(values.begin(), at, values.end());
  return *at;
}

}  // namespace ripplegauge
