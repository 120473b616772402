// Every threshold of the search for dents: what it is held against, in which unit, why, and the figure that
// set it.
//
// Three kinds of grounds are told apart. "Ray-traced photos": read off fits whose truth is known, right ones
// against wrong ones. A formula: stated. "By reason": a choice whose exact value hardly matters, since both
// sides of it cost time or lead to another try, not to another answer.
//
// Levels of chi square are means of the robust (pseudo-Huber) chi square of whitened residuals: a quiet panel
// shows about a half. "Excess" is such a level less that of the ring around. Sizes are of the contour at a
// tenth of a spot's height. A "share" is of the quantity it is named after, 0 to 1.
#pragma once

#include <cstddef>

namespace ripplegauge {

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
  double min_slope = 0.002;   ///< 2 mrad: below, paper and panel waviness look the same
  double max_slope = 0.25;    ///< beyond, metal is torn or folded, and light is mirrored past the board
  double min_width_mm = 2.8;  ///< narrower marks are specks, scratches and edges; dents begin at 3 mm
  double max_radius_mm = 45;  ///< a patch of pixels goes to 65 mm: wider spots leave no quiet panel in it
  double max_elongation = 7;  ///< creases go to 5 : 1; what is longer is an edge of light
  /// Of the spot's area, not seen: behind the card, beyond the board's or the photo's edge. A third is what
  /// the shape's symmetry can make up for (ray-traced photos of dents at the card's edge).
  double max_cut_share = 0.35;
  double max_share_on_line = 0.6;  ///< of a spot that a body line crosses: the rest is its flanks
  double min_ring_seen = 0.75;     ///< undisturbed stripes must surround a spot; the card may hide the rest
  double min_information = 0.1;    ///< share of the slope information in pixels that are not burnt out
  /// Around a real dent the stripes are as modelled (0.2 to 1.2 seen), beside a lamp not. With little noise
  /// small errors of the profile are loud: then the ring is held against the disturbance.
  double max_quiet_level = 2.5, max_quiet_share = 0.08;
  /// From here on a place that no spot explains is surely no panel as it should be. Peel reaches 12 at its
  /// loudest, dents and edges of light 19 to 38 (ray-traced photos).
  double surely_disturbed = 15;
  /// A spot whose sign cannot be told is not known: the best fit of the other sign must cost this many times
  /// as much inside the spot.
  double min_opposite_ratio = 1.4;
  /// Or be surely worse by likelihood, where at least so much of the spot is not burnt out (by reason).
  double min_information_for_sign = 0.5;
  /// A mirror shows stripes wherever it is bent, denser or wider: a place of one brightness is a sticker, a
  /// hand, a lamp. Right fits have stripes stand still over up to 0.26 of a spot (80 ray-traced dents); fits
  /// of blots of one brightness over 0.3 to 0.7.
  double max_still_share = 0.4;
  /// The spot's middle may lie off the outline's by this share of the outline's length, or by so much in any
  /// case: an outline is where stripes are disturbed, up to a radius beside the spot (ray-traced photos).
  double max_offset_share = 1.2, max_offset_mm = 3;
  double paper_clearance_mm = 3;  ///< of the spot's middle: the card's edge casts shadows and lifts
  /// Place, size and height are four numbers: they fit four looks at orange peel whatever those show. There,
  /// the few looks must stand out by themselves, half as much again where the spot is faint; and what they
  /// show, some spot explains nearly whole, unless it is a speck.
  double few_looks = 4, few_looks_margin = 1.5, min_explained_by_few_looks = 0.92;
  /// A smaller spot in an accepted one, or beside it, may be what that one's shape leaves over. What is left
  /// over stands for a slope (root of the unexplained share of energy): inside, a spot must be three times as
  /// steep as that, beside it once. Distances are in radii of the accepted spot.
  double misfit_within = 1.25, misfit_beside = 2.2, misfit_size_share = 0.65;
  double steepness_over_misfit_within = 3, steepness_over_misfit_beside = 1;
  /// Of a spot's area, on a body line: from here on two neighbours on one line show no more than their
  /// flanks.
  double crossed_by_line = 0.15;
};

/// Where the panel counts as disturbed. A score is energy over the median of good panel, in units of its
/// scatter.
struct CandidateOptions {
  /// Chi square of a cell: at most this, so that a glint does not outweigh a dent. Darker than a dark stripe
  /// or brighter than a light one (-1, 1) is no reflection of the board. Beside the pixels' noise, the
  /// profile is known to so much of the contrast. Where a spot explains a cell, so much of what is left is
  /// its shape.
  float max_chi_square = 40, brightest = 1.15F, shape_share = 0.65F;
  double profile_error = 0.04;
  /// From which a cell counts as loud, and the score of a region's loudest cell: good panel stays below 8 on
  /// ten thousand cells.
  float loud_score = 6, min_peak_score = 12;
  float min_energy = 1;  ///< mean chi square: below, noise would do
  /// A region goes down to this share of its peak's energy: the foot of a Gaussian's disturbance.
  float foot_share = 0.12F;
  /// Fragments nearer than this share of a period belong together: a wide dent disturbs the stripes in bands.
  double merge_gap_periods = 0.55;
  double far_fragment_share =
      0.3;                     ///< of the peak's score: what lies beyond half that gap must be strong itself
  double min_radius_mm = 1.2;  ///< of an outline: what smoothing makes of a single cell
  /// Round parts of a region see each other without a narrowing to this share of the lesser one's radius, and
  /// are no less than this share of the widest one's (by reason). More than so many are no row of dents but
  /// an edge.
  float narrowing = 0.6F, min_lobe_share = 0.25F;
  std::size_t max_lobes = 8;
  /// Dents near one another spoil the light by which the panel between them is judged: loud, too, but below
  /// this share of the peak.
  float loudest_share = 0.6F;
  std::size_t max_candidates = 14, max_regions = 60;  ///< that could be spots; of all that are looked at
  double margin_mm = 1;                               ///< round a region that is looked at no more
  double max_elongation = 10;                         ///< beyond: a streak along the board's edge
  double min_seen_share = 0.4;                        ///< of the outline's area
  double min_ring_seen = 0.8;                         ///< of the outline's edge: all but one side
};

/// Which starts become fits, and which fits go on. Costs are of the pseudo-Huber sum over the same pixels.
struct StartOptions {
  std::size_t min_pixels = 100;
  std::size_t pixels_to_sift = 100, pixels_to_rank = 300, pixels_of_short_fits = 800,
              pixels_of_full_fits = 1800;  ///< fringes are many pixels wide: noise is not the limit
  double share_to_rank = 0.25;             ///< of what was sifted, the best
  std::size_t starts = 24, starts_beside = 12;
  /// Fits end in one basin where they are alike in height (ratio less one), size (logarithm) and place
  /// (radii).
  double basin_height = 0.2, basin_size = 0.15, basin_place = 0.3;
  /// A fit that costs more than this times the best has never come down below it (ray-traced photos).
  double out_of_reach = 2;
  /// Rivals: what comes this near to the best may win when edges are weighed rightly.
  double rival_cost = 1.15;
  std::size_t max_rivals = 2;
  /// Nothing is left to explain: mean robust chi square of what remains (Gaussian noise has 0.5, peel in its
  /// flanks up to twice that), share of the disturbance that remains, and how much worse the other sign is,
  /// in what remains.
  double noise_level = 1, hardly_any = 0.05, surely_worse = 2;
  double few_edges_periods =
      1;  ///< a spot narrower than this shows too few edges to say that nothing is left
  /// Shares of what a spot must show in the end that a fit must show after each stage, or the search ends.
  double rough_share = 1.0 / 3, short_fit_share = 0.5, long_fit_share = 2.0 / 3, full_fit_share = 0.9;
  std::size_t few_best = 6;      ///< that are asked, and that get full fits
  double not_round = 1.15;       ///< elongation from which round spots are tried, too
  std::size_t max_basins = 120;  ///< of some 300: the worst half has never won
  std::size_t max_middles = 8;   ///< places about which a wide search looks closely
};

/// What is tried where the first fit does not do, and how long the search goes on.
struct EffortOptions {
  std::size_t min_pixels = 600;  ///< fewer do not carry ten parameters and the light (by reason)
  /// Excess, summed over peel cells, of what is worth an outline and of what is worth a fit; shares of
  /// Acceptance::min_summed_excess, since an outline is but roughly where the spot is.
  double excess_share_of_outline = 1.0 / 3, excess_share_of_fit = 2.0 / 3;
  /// While edges are whitened where they would be without a spot, a third of its excess or more is seen.
  double seen_excess_share = 1.0 / 3;
  double min_outline_mm = 0.7, max_outline_mm = 45,
         max_outline_elongation = 9;  ///< else the rough one is kept
  double max_outline_move = 1.2;      ///< of its length
  /// Where the sharpened outline is smaller or larger than the rough one by these, both get starts.
  double outline_shrunk = 0.6, outline_grown = 1.5;
  double hopeless_explained = 0.35;  ///< a start that explains next to nothing is not worth finishing
  double finish_share = 0.9;         ///< of what must be shown in the end
  double sure_log_odds = 10;  ///< e^10 : 1, by independent samples: one fit is surely better than another
  /// A fit that explains this much and yet moves the stripes by less than that share of what is needed is
  /// peel.
  double peel_explained = 0.6, peel_moved_share = 0.7;
  /// Two spots are tried where one explains less. A wrong fit leaves some of the spot in its ring: that may
  /// be so many times as loud as a believed one's.
  double well_explained = 0.96, misplaced_ring = 2;
  /// The ring, with some of the spot left in it, against what lies beyond: right fits' go to 1.4
  /// (ray-traced).
  double ring_over_far = 1.75;
  /// More starts: right fits explain 0.86 to 1.02, wrong ones up to 0.88; for what is compact and whole, and
  /// no speck, and where the fit covers at least half of Acceptance::min_excess.
  double surely_explained = 0.97, compact_elongation = 4, whole_ring = 0.85, speck_radius_mm = 2,
         covered_share = 0.5;
  /// With neighbours left out: the fit is tried with them where they hide more than this of it, or where the
  /// other sign explains nearly as well (right fits: 8 to 600).
  double hidden_share = 0.1, nearly_as_well = 8;
  double found_credit = 0.9;    ///< a wide search ends there
  double sum_explained = 0.35;  ///< one of two spots must explain this much by itself
  double as_well = 0.03;  ///< share explained: one spot is believed before two that do no better than this
  /// What is left over: nearer to the middle than this (radii) and larger than this share of the spot.
  double left_over_within = 0.8, left_over_share = 0.25;
  double foot = 1.5;   ///< radii: how far out what is left over is still the spot's shape
  double reach = 2.2;  ///< lengths: how far out a spot bends what an outline was drawn from
  double same_place = 0.5, same_size = 0.5,
         louder = 1.5;  ///< tried before: radii, ratio of radii, ratio of peaks
  /// Strongest first: after so many failures in a row the rest is nothing.
  int patience = 5;
  int max_rounds = 8;
  int max_looks_inside = 4, max_sums = 4,
      max_looks_for_neighbours = 4;                 ///< each takes as long as five attempts
  int max_wide_searches = 4, max_last_chances = 4;  ///< each takes as long as ten
  /// The search ends when fits have looked at so many pixels, once an iteration, and at so many more for each
  /// spot that they found: five seconds of one processor. Ray-traced dents take up to 18e6, a panel with 80
  /// specks 25e6; where next to nothing is panel it would be 80e6.
  double most_fitted_pixels = 32e6, most_fitted_pixels_a_spot = 4e6;
};

/// Two spots that are one dent.
struct SumOptions {
  double rim_wider = 1.15, rim_lower = 0.6;  ///< a rim is wider than the spot, and lower, by these ratios
  double max_size_ratio = 8;
  double ridge_share = 0.5;     ///< between the middles less deep than this share of the shallower: two dents
  double min_part_share = 0.1;  ///< of the deeper middle's depth
  double worthwhile_gain = 0.98;  ///< of the cost: a round that gains less has ended in the same basin
  int max_rounds = 4;
  std::size_t places = 12, parted = 4, rimmed = 8, stepped = 8, orders = 8, finalists = 5;
};

/// A spot of the other sign inside another: what an over-pull leaves.
struct NestingOptions {
  std::size_t min_pixels = 1000;
  double min_outer_mm = 4, min_inner_mm = 1.3;  ///< radii: the inner one is about a third, and a spot, too
  double max_inner_share = 0.65;
  /// Two spots must leave at most this share of what one leaves over. Ray-traced nested ones left 0.1 to
  /// 0.35; where less was left without any, the two made no dimple.
  double clearly_better = 0.6;
  /// Of the squared noise: what one spot leaves over must be more than the little that no spot family
  /// explains.
  double worth_a_look = 0.3;
  double hopeless = 0.9;  ///< of what one leaves over: further sweeps will not bring it down
};

struct DentOptions {
  Acceptance acceptance;
  CandidateOptions candidates;
  StartOptions starts;
  EffortOptions effort;
  SumOptions sums;
  NestingOptions nesting;
};

}  // namespace ripplegauge
