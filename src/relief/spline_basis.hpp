// The four uniform cubic B-splines that overlap a square of a grid, and their derivatives, at 0 <= t <= 1
// across it.
#pragma once

#include <array>

namespace ripplegauge {

using Four = std::array<double, 4>;

inline Four basis(double t) {
  const double u = 1 - t;
  return {u * u * u / 6, (3 * t * t * t - 6 * t * t + 4) / 6, (-3 * t * t * t + 3 * t * t + 3 * t + 1) / 6,
          t * t * t / 6};
}
inline Four basis_first(double t) {
  const double u = 1 - t;
  return {-u * u / 2, (9 * t * t - 12 * t) / 6, (-9 * t * t + 6 * t + 3) / 6, t * t / 2};
}
inline Four basis_second(double t) { return {1 - t, 3 * t - 2, 1 - 3 * t, t}; }

}  // namespace ripplegauge
