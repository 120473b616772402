// A very quick look at very many elliptic spots about one centre: where fits are worth starting.
#pragma once

#include <array>
#include <span>
#include <vector>

#include "dents/spot_fit.hpp"
#include "radial_kernel.hpp"

namespace ripplegauge {

struct Start {
  double cost = 0;
  SpotVector spot;
  int shape = 0;  ///< number of its unit spot
};

/// Displacements of stripes, cycles, as far apart as starts may be: below one cycle cost is smooth in the
/// displacement; above, each basin is some 0.4 cycles wide.
std::vector<double> displacement_ladder(double from, double to, double step = 0.2);

/// A round spot of height 1 and 10 % radius 1 with the exponents p and n, tabulated over its radius.
class UnitSpot {
 public:
  UnitSpot(double power, double order);

  double power() const { return power_; }
  double order() const { return order_; }
  float steepest() const { return steepest_; }
  /// Of the spot of this radius.
  kernel::UnitTables tables(double radius) const;

 private:
  static constexpr int size = 512;
  static constexpr double reach = 4;
  double power_, order_;
  std::array<float, size + 2> height_{}, slope_{};
  float steepest_ = 1e-9F;
};

/// Phase by a second-order expansion along the radial direction, level (quadratic) and contrast (constant)
/// solved.
class RadialSearch {
 public:
  RadialSearch(const Patch& patch, const std::vector<int>& pixels, const Outline& outline);

  /// The cost where there is no spot.
  double flat_cost() const;
  /// Appends a start for every radius x shape x displacement (cycles) x sign.
  void run(const std::vector<double>& radii, std::span<const UnitSpot> shapes,
           const std::vector<double>& displacements, std::vector<Start>& starts) const;
  /// Puts the costs among these pixels into starts that another search made about the same outline, with
  /// these shapes.
  void weigh(std::span<const UnitSpot> shapes, std::vector<Start>& starts) const;

 private:
  /// The unit spot as the pixels see it (none at first), and room for a profile.
  struct Scratch {
    explicit Scratch(std::size_t n) : height(n), slope(n), bend(n), profile(n) {}
    kernel::UnitAtPixels unit() { return {height.data(), slope.data(), bend.data()}; }
    std::vector<float> height, slope, bend, profile;
  };
  double cost_of(const std::vector<float>& profile) const;
  double cost_at(float height, Scratch& scratch) const;

  const Patch& patch_;
  Outline outline_;
  std::vector<float> radius_;                ///< elliptic, mm
  std::vector<float> parallax_;              ///< how much further out the ray meets a panel 1 mm higher
  std::vector<float> phase_, gain_, gain2_;  ///< cycles; by the radial slope; by its square
  std::vector<float> phase_x_, phase_y_;     ///< gradient of the undisturbed phase, cycles per mm
  std::vector<float> radial_x_, radial_y_, across_x_,
      across_y_;  ///< radial direction; gain across it over the radius
  std::vector<float> weight_;
  std::vector<float> least_;  ///< least residual that counts: clipped pixels say "at least this bright"
  Eigen::VectorXf light_;     ///< with the level taken out
  Eigen::MatrixXf basis_;     ///< orthonormal columns of the level
};

}  // namespace ripplegauge
