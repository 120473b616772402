// Fits spots to the intensities themselves, not to an unwrapped phase: folds do no harm.
#pragma once

#include <functional>
#include <span>
#include <vector>

#include "dents/dent_options.hpp"
#include "dents/spot_shape.hpp"
#include "relief/light_fit.hpp"
#include "ripplegauge/core/relief.hpp"

namespace ripplegauge {

/// What is known of a disturbance before the fit: an outline ellipse.
struct Outline {
  double x_mm = 0, y_mm = 0, radius_mm = 0;  ///< geometric mean of the two semi-axes
  double elongation = 1, angle_rad = 0;      ///< long over short axis, direction of the long one
};

/// The spot's 10 % ellipse, grown.
Outline outline_of(const SpotVector& spot, double growth = 1);

struct SpotFit {
  SpotVector spot = SpotVector::Zero();
  Eigen::Vector3d drift = Eigen::Vector3d::Zero();  ///< slow phase left by the bundle: constant, x, y; cycles
  double cost = 1e300;
  double opposite_cost = 1e300;  ///< of the best fit of the other sign, same pixels as `search_cost`
  double search_cost = 1e300;
  /// Other basins that the search could hardly tell from this one, with their costs: it weighs all pixels
  /// alike, and only who knows where the stripes' edges lie can weigh them right.
  struct Rival {
    SpotVector spot;
    double cost;
  };
  std::vector<Rival> rivals;
  bool sign_settled = false;  ///< the best of the other sign was weighed as well, and surely explains less
  /// From the last polish: what pixel noise and stripe jitter leave open, all else free, shape priors
  /// included; mm^2. 0 before.
  double height_variance = 0;
};

/// Whether a spot as found so far deserves better fits: whether it shows this share of what must be shown in
/// the end.
using WorthFinishing = std::function<bool(const SpotVector&, double share)>;

struct SpotSearchOptions {
  WorthFinishing worth_finishing;
  int threads = 1;
  double effort = 1;  ///< scales the number of starts
  StartOptions starts{};
};

/// Many cheap starts of both signs about the outline, short fits of the best, full fits of the best of those,
/// unless none of them is worth it: then the best as it is, with the cost 1e300. The same result on any
/// number of threads.
SpotFit search_spot(const Patch& patch, const Outline& outline, const SpotSearchOptions& options);

/// The same where the outline may be wrong: places, sizes, directions and elongations spread evenly about it.
/// Some ten times the work.
SpotFit search_spot_widely(const Patch& patch, const Outline& outline, const SpotSearchOptions& options);

inline constexpr std::size_t every_pixel = static_cast<std::size_t>(-1);

/// All pixels of a patch, or so many of them, evenly spread.
PixelArrays some_pixels(const Patch& patch, std::size_t most = every_pixel);

/// Finishes on these pixels, phase drift and (if asked) the metallic highlight free.
SpotFit polish_spot(const PixelArrays& pixels, const SpotVector& start, bool highlight, int iterations = 25);

/// What is not known of profile, blur and light makes the variance this many times that of noise alone, and
/// costs that differ by less than this say nothing. Sized on ray-traced photos.
inline constexpr double noise_and_profile = 4;

/// The best spots of other heights, all else free, in the order of their heights: how well each explains the
/// stripes says how far the height may go. From the finished `fit`, which is among them, both ways by a
/// constant ratio (above 1); each way until the cost has risen by `contradicted` above the least, or after a
/// dozen.
std::vector<SpotFit> polish_along_height(const Patch& patch, const SpotFit& fit, bool highlight, double ratio,
                                         double contradicted, int threads = 1);

/// By what factor the pixels tell less of a finished spot than as many independent ones as the patch counts,
/// at least 1: orange peel correlates neighbours. Read off the residuals, in blocks of a quarter of its
/// radius.
double correlated_noise(const Patch& patch, const SpotFit& fit, bool highlight);

/// Adds a spot, or the sum of several, to the patch's explained relief.
void explain(Patch& patch, const SpotVector& spot);
void explain(Patch& patch, std::span<const SpotVector> spots);

/// Whether a fit left a spot what it was: finite, and of the same sign.
inline bool still_itself(const SpotVector& now, const SpotVector& then) {
  return now.allFinite() && now[s_height] * then[s_height] > 0;
}

/// Two spots whose sum is the relief of one dent.
struct SpotSum {
  SpotVector first = SpotVector::Zero(), second = SpotVector::Zero();
  Eigen::Vector3d drift = Eigen::Vector3d::Zero();
  double cost = 1e300;
};

/// polish_spot for both spots of a sum at once.
SpotSum polish_sum(const Patch& patch, const SpotSum& start, bool highlight, int iterations = 25);

/// Adds their sum to the patch's explained relief.
void explain(Patch& patch, const SpotSum& sum);

/// The sum of some spots, cells x cells heights over a square about a place.
Relief draw_spots(std::span<const SpotVector> spots, double x_mm, double y_mm, double reach_mm, int cells);

/// Takes into account that blur moves stripes where they bend: a photo blurred by the second moments M shows
/// the phase not of a point but, to second order, 1/2 (tr(M H) - k' M H M k) more, with H the phase's second
/// derivatives and k its gradient in radians (a Gaussian integral over a chirp). In a small dent that is a
/// hundredth of a cycle, which would make it per cents too wide and too flat. It goes by the third
/// derivatives of the relief, so it is taken from a spot near the one that is to be fitted and kept, as
/// slopes, until the patch's relief is explained.
void soften(Patch& patch, const SpotVector& spot);
void soften(Patch& patch, std::span<const SpotVector> spots);
void soften(Patch& patch, const SpotSum& sum);

/// Re-evaluates the whitening for the phases that this spot predicts.
void set_whitening(Patch& patch, const SpotVector& spot);
/// The same for the sum of several.
void set_whitening(Patch& patch, std::span<const SpotVector> spots);

/// Whitened residuals of every pixel (0 where a clipped pixel is explained) with the light fitted.
std::vector<float> whitened_residuals(const Patch& patch, const SpotVector& spot,
                                      const Eigen::Vector3d& drift, bool highlight);

}  // namespace ripplegauge
