// All spots of a photo: strongest first, each judged before it is believed, then all together.
#pragma once

#include <optional>
#include <vector>

#include "ripplegauge/dents/candidates.hpp"
#include "ripplegauge/dents/spot_fit.hpp"

namespace ripplegauge {

/// Everything a search needs of one photo.
struct PanelScene {
  const cv::Mat* grey = nullptr;
  const BundleProblem* problem = nullptr;
  PanelVector parameters;
  const ResidualField* field = nullptr;
  double pixels_per_mm = 0;
};

/// How well a spot explains what is seen.
struct SpotJudgement {
  double explained = 0;       ///< share of the excess disturbance inside the spot that the fit explains; 1 = all
  double slope_over_peel = 0; ///< the spot's steepest slope over the orange peel's own
  double opposite_ratio = 0;  ///< cost of the best fit of the other sign over the cost of this one
  double information_kept = 1;  ///< share of the slope information in pixels that are not clipped
  double quiet_level = 0;     ///< mean robust chi square of the undisturbed ring around
  double inside_level = 0;    ///< the same inside the spot, after the fit
  double fringe_density_px = 0;  ///< highest stripe frequency inside, cycles per photo pixel
  double cut_share = 0;       ///< share of the spot's area where nothing is seen (card, board's edge, photo's edge)
};

struct FoundSpot {
  SpotFit fit;
  SpotJudgement judgement;
};

struct RejectedSpot {
  Outline outline;
  double peak = 0;
  SpotFit fit;
  SpotJudgement judgement;
};

struct SpotSearchResult {
  std::vector<FoundSpot> spots;
  std::vector<RejectedSpot> rejected;  ///< disturbances that no believable spot explains, strongest first
};

/// What a spot must show to be believed.
struct Acceptance {
  /// Right fits explain 0.86 to 1.02 of the excess, fits in a wrong basin 0.54 to 0.62 (ray-traced photos).
  double min_explained = 0.75;
  /// The largest slope among some 10^4 cells of orange peel at a false-alarm rate of 10^-4 is sqrt(2 ln 10^8) = 6 times
  /// its rms; a fit may double what it finds; a margin on top.
  double min_slope_over_peel = 14;
  double min_slope = 0.002;        ///< 2 mrad: below, paper and panel waviness look the same
  double max_cut_share = 0.35;
  double min_information = 0.1;
  double max_quiet_level = 2.5;    ///< around a real dent the stripes are as modelled (0.2 to 1.2 seen), beside a lamp not
  double min_opposite_ratio = 1.15;  ///< a spot whose sign cannot be told is not known
};

SpotSearchResult find_spots(const PanelScene& scene, const Acceptance& acceptance = {});

SpotJudgement judge(const Patch& patch, const SpotFit& fit, double pixels_per_mm);

/// The pixels for fitting a spot of this size, other spots explained.
Patch patch_for(const PanelScene& scene, const SpotVector& spot, const std::vector<SpotVector>& others, double reach,
                std::size_t max_pixels);

/// Largest slope of the parametric shape, by sampling along its axes.
double steepest_slope(const SpotVector& spot);

}  // namespace ripplegauge
