// How loud the stripes are in and around a spot: the mean robust chi square of pixels that nothing explains,
// or that a fit does.
#pragma once

#include <algorithm>
#include <cmath>
#include <span>
#include <vector>

#include "core/least_squares.hpp"
#include "dents/spot_shape.hpp"

namespace ripplegauge {

constexpr double judged_scale = 3;  ///< of the pseudo-Huber cost by which loudness is told

/// The robust chi square of each of some whitened residuals.
inline std::vector<double> robust_costs(std::span<const float> residuals) {
  std::vector<double> costs;
  costs.reserve(residuals.size());
  for (const float r : residuals) costs.push_back(pseudo_huber_cost(r, judged_scale));
  return costs;
}

/// Elliptic radius of a place in units of a spot's 10 % contour (slants ignored).
class RadiusIn {
 public:
  explicit RadiusIn(const SpotVector& s)
      : x_(s[s_x]),
        y_(s[s_y]),
        cos_(std::cos(s[s_angle])),
        sin_(std::sin(s[s_angle])),
        inverse_a_(std::exp(-s[s_log_a])),
        inverse_b_(std::exp(-s[s_log_b])) {}
  double operator()(double x, double y) const {
    const double dx = x - x_, dy = y - y_, u = (cos_ * dx + sin_ * dy) * inverse_a_,
                 v = (cos_ * dy - sin_ * dx) * inverse_b_;
    return std::sqrt(u * u + v * v);
  }

 private:
  double x_, y_, cos_, sin_, inverse_a_, inverse_b_;
};

/// Zones of a spot, in its 10 % contours.
enum class Zone { inside, edge, ring, beyond };
inline Zone zone_of(double rho) {
  constexpr double inside = 1.1, ring = 1.25, beyond = 2.2;
  return rho < inside ? Zone::inside : rho <= ring ? Zone::edge : rho < beyond ? Zone::ring : Zone::beyond;
}

/// Means of robust chi squares. Zero where no pixel lies.
struct Loudness {
  double inside = 0, around = 0, beyond = 0;
  double inside_count = 0, around_count = 0;  ///< pixels
  double excess() const { return inside - around; }
};

/// Of pixels at place(0) ... place(costs.size() - 1), pairs of x and y in mm, whose robust chi squares are
/// given.
template <class Place>
Loudness loudness(const SpotVector& spot, std::span<const double> costs, const Place& place) {
  const RadiusIn rho(spot);
  Loudness l;
  double beyond_count = 0;
  for (std::size_t i = 0; i < costs.size(); ++i) {
    const auto [x, y] = place(i);
    switch (zone_of(rho(x, y))) {
      case Zone::inside:
        l.inside += costs[i], ++l.inside_count;
        break;
      case Zone::ring:
        l.around += costs[i], ++l.around_count;
        break;
      case Zone::beyond:
        l.beyond += costs[i], ++beyond_count;
        break;
      case Zone::edge:
        break;
    }
  }
  l.inside /= std::max(l.inside_count, 1.0), l.around /= std::max(l.around_count, 1.0),
      l.beyond /= std::max(beyond_count, 1.0);
  return l;
}

}  // namespace ripplegauge
