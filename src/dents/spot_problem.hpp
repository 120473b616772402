// Spots against the intensities of a patch: normal equations and fits of one spot, or of several whose sum is
// one dent.
#pragma once

#include <array>
#include <span>
#include <vector>

#include "core/least_squares.hpp"
#include "dents/spot_shape.hpp"
#include "relief/light_fit.hpp"

namespace ripplegauge {

constexpr double robust_scale = 3;  ///< of the pseudo-Huber loss of whitened residuals

struct FitRequest {
  std::vector<int> active;  ///< spot parameters that move, of every spot
  bool drift = false, highlight = false;
  int iterations = 10;
  double tolerance = 1e-5;   ///< of the cost
  bool shape_priors = true;  ///< false where several photos share a spot: what is expected of it counts once
};

struct FitOutcome {
  std::vector<SpotVector> spots;
  Eigen::Vector3d drift = Eigen::Vector3d::Zero();
  double cost = 1e300;

  const SpotVector& spot() const { return spots.front(); }
};

/// All that a spot has.
extern const std::vector<int> all_parameters;

/// Bounds of the family, by SpotParameter.
const ParameterBounds& spot_bounds();

/// The same spot with every parameter within the bounds of the family: fits stay there, but what a photo
/// shares with others may be shifted out of them.
SpotVector clamped(const SpotVector& spot);

LightFitOptions light_options(std::span<const SpotVector> spots, bool highlight);

/// What the rays of some pixels hit: panel points under the relief.
struct HitPoints {
  std::vector<float> x_mm, y_mm;
};

/// The relief of the sum of spots at what each pixel's ray hits, the base included.
void relief_of(const PixelArrays& pixels, std::span<const SpotVector> spots, HitPoints& hits,
               ReliefAtPixels& relief);

/// What the photo's blur seems to add to the slopes of the sum of spots. See soften.
struct SlopesByBlur {
  std::vector<float> x, y;
};
SlopesByBlur slopes_by_blur(const PixelArrays& pixels, std::span<const SpotVector> spots);

/// Levenberg-Marquardt over some pixels from a start. `hessian`, if given: by spots and drift at the end,
/// priors included.
FitOutcome fit_spots(const PixelArrays& pixels, std::span<const SpotVector> start, const FitRequest& request,
                     const Eigen::Vector3d& start_drift = Eigen::Vector3d::Zero(),
                     Eigen::MatrixXd* hessian = nullptr);

/// The normal equations of some spots over these pixels, which must outlive them, by the active parameters of
/// each spot in turn, then the drift (which is zero where it is not asked for).
NormalEquationsFunction equations_of(const PixelArrays& pixels, std::span<const SpotVector> start,
                                     const FitRequest& request);

/// Adds what shapes spots are expected to have to equations by the active parameters of each in turn.
void add_shape_priors(const Eigen::VectorXd& x, std::span<const SpotVector> spots,
                      const std::vector<int>& active, NormalEquations& out);

/// Light and residuals of given spots.
LightFit light_under(const PixelArrays& pixels, std::span<const SpotVector> spots,
                     const Eigen::Vector3d& drift, bool highlight);

/// Up to n of some pixels, over all rows and columns, by golden-ratio stepping; some may come twice.
std::vector<int> spread_evenly(const std::vector<int>& pixels, std::size_t n);

/// How much a pixel of these counts: blur and JPEG correlate neighbours, and they stand for all of the patch.
double importance_of(const PixelArrays& pixels);

}  // namespace ripplegauge
