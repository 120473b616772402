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

/// Phase by a second-order expansion along the radial direction, level (quadratic) and contrast (constant) solved.
class RadialSearch {
 public:
  RadialSearch(const Patch& patch, const std::vector<int>& pixels, const Outline& outline);

  /// Appends a start for every radius x shape (exponents p and n) x displacement (cycles) x sign.
  void run(const std::vector<double>& radii, const std::vector<std::array<double, 2>>& shapes,
           const std::vector<double>& displacements, std::vector<Start>& starts) const;

 private:
  /// What a pixel needs, together.
  struct Pixel {
    float radius;    ///< elliptic, mm
    float parallax;  ///< how much further out the ray meets a panel 1 mm higher
    float phase, gain, gain2;  ///< cycles; by the radial slope; by its square
    float phase_x, phase_y;    ///< gradient of the undisturbed phase, cycles per mm
    float radial_x, radial_y, across_x, across_y;  ///< radial direction; gain across it over the radius
    float learnt_blur;         ///< blur exponent where the profile was learnt
  };
  class UnitSpot;
  void unit_slopes(const UnitSpot& unit, float height, std::vector<float>& slope, std::vector<float>& bend) const;
  void predict(float height, const std::vector<float>& slope, const std::vector<float>& bend, Eigen::VectorXf& profile) const;
  double cost_of(const Eigen::VectorXf& profile, Eigen::VectorXf& rest) const;

  const Patch& patch_;
  Outline outline_;
  double largest_parallax_ = 0;
  std::vector<Pixel> pixel_;
  Eigen::VectorXf light_, weight_;  ///< light with the level taken out
  Eigen::ArrayXf least_;            ///< least residual that counts: clipped pixels say "at least this bright"
  Eigen::MatrixXf basis_;           ///< orthonormal columns of the level
};

}  // namespace ripplegauge
