// Body lines: a straight fold of the panel breaks the stripes' phase, or kinks it. What was followed on one
// side says nothing of the other, where the stripes go on with another phase and, seen against the model,
// another slope.
#pragma once

#include <optional>
#include <vector>

#include "demodulation.hpp"
#include "panel/bundle.hpp"

namespace ripplegauge {

/// The least turn, which no uneven crown feigns, moves stripes by an eighth of a period or more.
inline constexpr double least_fold_turn = 0.012;

/// What was followed without a further fold: the bundle's problem with its samples, its parameters, how well
/// they explain the samples; and the stripes demodulated against that model, with the flood that the samples
/// are of.
struct Followed {
  const BundleProblem* problem;
  PanelVector parameters;
  Demodulated demodulated;
  cv::Mat unwrapped;  ///< radians; NaN where not followed
  PanelGrid nodes;
};

/// The bundle's parameters with a further fold between what was followed and the largest patch of stripes
/// that was not. Nothing where the stripes show none.
std::optional<PanelVector> fold_that_breaks(const Followed& followed);
/// Those with a further fold within what was followed, at places where it would explain the samples better;
/// for each place those of all counts of cycles that explain what lies beyond.
std::vector<std::vector<PanelVector>> folds_that_kink(const Followed& followed);

/// Moves one fold's line along its normal, and turns it about the place on it that lies nearest to (x, y).
void turn_line(PanelVector& parameters, int fold, double by_mm, double by_rad, double x_mm, double y_mm);

/// The folds, one of them with one more cycle or one less beyond it, where that explains the samples of both
/// sides better: two counts differ little in all but the fold's own shape. Nothing where the count is right.
std::optional<PanelVector> other_count_of_cycles(const BundleProblem& folded, const PanelVector& parameters);

}  // namespace ripplegauge
