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
  int threads = 1;  ///< the result is the same on any number
};

/// How well a spot explains what is seen.
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
  double cut_share =
      0;  ///< share of the spot's area where nothing is seen (card, board's edge, photo's edge)
};

struct FoundSpot {
  SpotFit fit;
  SpotJudgement judgement;
  std::optional<std::size_t> inside_of;  ///< index of the spot of the other sign that this one lies in
  std::optional<SpotVector> second;      ///< where it takes the sum of two spots to describe this one
};

struct RejectedSpot {
  Outline outline;
  double peak = 0;
  SpotJudgement judgement;
  double share_on_line = 0;  ///< of its area, hidden by a body line
};

/// A place where stripes are bent or hidden and no believable spot explains it.
struct UnexplainedPlace {
  double x_mm = 0, y_mm = 0, width_mm = 0;  ///< of the largest disc of loud cells in it
  double loudest = 0;  ///< largest mean chi square: orange peel stays below Acceptance::peel_excess
};

struct SpotSearchResult {
  std::vector<FoundSpot> spots;
  std::vector<RejectedSpot> rejected;  ///< disturbances that no believable spot explains, strongest first
  std::vector<UnexplainedPlace> unexplained;  ///< louder than peel, the loudest first
  cv::Mat unexplained_cells;  ///< CV_8UC1, the residual field's cells: 255 in these places, else 0
};

/// What a spot must show to be believed.
struct Acceptance {
  /// Right fits explain 0.86 to 1.02 of the excess, fits in a wrong basin 0.54 to 0.62 (ray-traced photos).
  double min_explained = 0.75;
  /// Orange peel is real slope, so no gain in chi square tells it from a dent; its cells are small and a dent
  /// covers many. The largest of some 10^4 cells at a false-alarm rate of 10^-4 is sqrt(2 ln 10^8) = 6 times
  /// the rms; a fit that is free in place, size and shape doubles that, and half as much again is margin.
  /// Only the part of the slope that moves stripes counts: a ridge along them is a guess.
  double min_moved_snr = 18;
  /// Mean robust chi square over the ring's without the spot. Peel is in the whitening, so it stays below 3,
  /// now and then 6, and never comes near 12: what is that loud needs no more than the bare 6, doubled.
  double min_excess = 3, peel_excess = 6, loud_excess = 12, min_loud_moved_snr = 12;
  /// On smooth paint a wide faint spot may stay below that and still be many times louder than all around it.
  double min_summed_excess = 10, min_faint_moved_snr = 45, min_faint_ratio = 8;
  double min_slope_over_peel = 7;
  double min_width_mm = 2.8;  ///< narrower marks are specks, scratches and edges; dents begin at 3 mm
  double min_slope = 0.002;   ///< 2 mrad: below, paper and panel waviness look the same
  double max_cut_share = 0.35;
  double max_share_on_line = 0.6;  ///< of a spot that a body line crosses: the rest is its flanks
  double min_ring_seen = 0.75;     ///< undisturbed stripes must surround a spot; the card may hide the rest
  double min_information = 0.1;
  /// Around a real dent the stripes are as modelled (0.2 to 1.2 seen), beside a lamp not. With little noise
  /// small errors of the profile are loud: then the ring is held against the disturbance.
  double max_quiet_level = 2.5, max_quiet_share = 0.08;
  /// From here on a place that no spot explains is surely no panel as it should be. Peel reaches 12 at its
  /// loudest, dents and edges of light 19 to 38 (ray-traced photos).
  double surely_disturbed = 15;
  double min_opposite_ratio = 1.4;  ///< a spot whose sign cannot be told is not known
};

SpotSearchResult find_spots(const PanelScene& scene, const Acceptance& acceptance = {});

SpotJudgement judge(const Patch& patch, const SpotFit& fit, bool highlight, double pixels_per_mm);

/// The same for the sum of two, inside the first one's contour; `single` knows of the other sign.
SpotJudgement judge(const Patch& patch, const SpotSum& sum, const SpotFit& single, bool highlight,
                    double pixels_per_mm);

/// The pixels for fitting a spot of this size, other spots explained.
Patch patch_for(const PanelScene& scene, const SpotVector& spot, const std::vector<SpotVector>& others,
                double reach, std::size_t max_pixels);

/// The pixels for fitting a sum of spots.
Patch patch_for(const PanelScene& scene, const SpotSum& sum, const std::vector<SpotVector>& others,
                std::size_t max_pixels);

/// Three more terms of light among some 10^4 pixels must take this off the cost: 3/2 ln 10^4 (Schwarz, Ann.
/// Stat. 6:461, 1978).
inline constexpr double highlight_worth = 15;

/// polish_spot with the metallic highlight where it pays, which `highlight` tells. Keeps what the search that
/// led to `start` says of the other sign.
SpotFit polish_with_fitting_light(const Patch& patch, const SpotFit& start, bool& highlight, int iterations,
                                  std::size_t most_pixels = every_pixel);

/// The smallest steepest slope that a spot of this diameter must have to be believed, on paint of this slope
/// of its own.
double least_believable_slope(double peel_slope, double peel_cell_mm, double diameter_mm,
                              const Acceptance& acceptance = {});

/// Largest slope of the parametric shape, by sampling along its axes.
double steepest_slope(const SpotVector& spot);

}  // namespace ripplegauge
