// A very quick look at very many elliptic spots about one centre: where fits are worth starting.
#pragma once

#include <array>
#include <vector>

#include "ripplegauge/dents/spot_fit.hpp"

namespace ripplegauge {

struct Start {
  double cost = 0;
  SpotVector spot;
};

/// Displacements of stripes, cycles, as far apart as starts may be: below one cycle cost is smooth in the displacement;
/// above, each basin is some 0.4 cycles wide.
std::vector<double> displacement_ladder(double from, double to, double step = 0.2);

/// Phase by a second-order expansion along the radial direction, level (quadratic) and contrast (constant) solved.
class RadialSearch {
 public:
  RadialSearch(const Patch& patch, const std::vector<int>& pixels, const Outline& outline);

  /// The cost where there is no spot.
  double flat_cost() const;
  /// Appends a start for every radius x shape (exponents p and n) x displacement (cycles) x sign.
  void run(const std::vector<double>& radii, const std::vector<std::array<double, 2>>& shapes,
           const std::vector<double>& displacements, std::vector<Start>& starts) const;

 private:
  double cost_of(const std::vector<float>& profile) const;

  const Patch& patch_;
  Outline outline_;
  std::vector<float> radius_;    ///< elliptic, mm
  std::vector<float> parallax_;  ///< how much further out the ray meets a panel 1 mm higher
  std::vector<float> phase_, gain_, gain2_;  ///< cycles; by the radial slope; by its square
  std::vector<float> phase_x_, phase_y_;     ///< gradient of the undisturbed phase, cycles per mm
  std::vector<float> radial_x_, radial_y_, across_x_, across_y_;  ///< radial direction; gain across it over the radius
  std::vector<float> weight_;
  std::vector<float> least_;                 ///< least residual that counts: clipped pixels say "at least this bright"
  Eigen::VectorXf light_;                    ///< with the level taken out
  Eigen::MatrixXf basis_;                    ///< orthonormal columns of the level
};

}  // namespace ripplegauge
