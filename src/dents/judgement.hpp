// How well a fitted spot explains what is seen: figures only. What they must be stands in `Acceptance`.
#pragma once

#include "dents/dent_options.hpp"
#include "dents/spot_fit.hpp"

namespace ripplegauge {

struct SpotJudgement {
  double explained = 0;  ///< share of the excess disturbance inside the spot that the fit explains; 1 = all
  double slope_over_peel = 0;  ///< the spot's steepest slope over the orange peel's own
  double opposite_ratio =
      0;  ///< cost inside the spot of the best fit of the other sign over the cost of this one
  double information_kept = 1;  ///< share of the slope information in pixels that are not clipped
  double peel_cells = 0;        ///< how many cells of orange peel fit inside
  double looks = 0;             ///< how many of them an edge of an undisturbed stripe would show
  double moved_snr =
      0;  ///< rms move of the stripes inside over their jitter, times the root of the peel cells there
  double disturbed_level = 0;    ///< mean robust chi square inside the spot if there were none
  double quiet_level = 0;        ///< mean robust chi square of the undisturbed ring around
  double far_level = 0;          ///< the same beyond that ring; the ring's where the patch hardly goes there
  double fringe_density_px = 0;  ///< highest stripe frequency inside, cycles per photo pixel
  double still_share = 0;  ///< share of the inside that shows one and the same phase: no mirror, or a focus
  double cut_share =
      0;  ///< share of the spot's area where nothing is seen (card, board's edge, photo's edge)

  double excess() const { return disturbed_level - quiet_level; }
};

SpotJudgement judge(const Patch& patch, const SpotFit& fit, bool highlight, double pixels_per_mm);

/// The same for the sum of two, inside the first one's contour; `single` knows of the other sign.
SpotJudgement judge(const Patch& patch, const SpotSum& sum, const SpotFit& single, bool highlight,
                    double pixels_per_mm);

/// Three more terms of light among some 10^4 pixels must take this off the cost: 3/2 ln 10^4 (Schwarz, Ann.
/// Stat. 6:461, 1978).
inline constexpr double highlight_worth = 15;

/// polish_spot with the metallic highlight where it pays, which `highlight` tells. Keeps what the search that
/// led to `start` says of the other sign.
SpotFit polish_with_fitting_light(const Patch& patch, const SpotFit& start, bool& highlight, int iterations,
                                  std::size_t most_pixels = every_pixel);

/// How many cells of orange peel a spot covers.
double peel_cells(double diameter_mm, double peel_cell_mm);

/// Root mean square move of the stripes inside a spot, over their jitter, times the root of the peel cells
/// there.
double moved_snr(const Patch& patch, const SpotVector& spot);

/// The smallest steepest slope that a spot of this diameter must have to be believed, on paint of this slope
/// of its own.
double least_believable_slope(double peel_slope, double peel_cell_mm, double diameter_mm,
                              const Acceptance& acceptance = {});

/// Largest slope of the parametric shape, by sampling along its axes.
double steepest_slope(const SpotVector& spot);

}  // namespace ripplegauge
