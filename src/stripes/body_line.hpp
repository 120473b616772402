// Body lines: a straight fold of the panel breaks the stripes' phase, or kinks it. What was followed on one
// side says nothing of the other, where the stripes go on with another phase and, seen against the model,
// another slope.
#pragma once

#include <optional>
#include <vector>

#include "demodulation.hpp"
#include "ripplegauge/panel/bundle.hpp"

namespace ripplegauge {

/// What was followed without a fold: the bundle's problem with its samples, its parameters, how well they
/// explain the samples; and the stripes demodulated against that model, with the flood that the samples are
/// of.
struct Followed {
  const BundleProblem* problem;
  PanelVector parameters;
  Demodulated demodulated;
  cv::Mat unwrapped;  ///< radians; NaN where not followed
  PanelGrid nodes;
};

/// The bundle's parameters with a fold that makes stripes on both sides those of one panel; several where the
/// direction of the line is not sure yet. Nothing where the stripes show none.
std::vector<PanelVector> find_body_line(const Followed& followed);

/// The fold with one more cycle or one less beyond it, where that explains the samples of both sides better:
/// two counts differ little in all but the fold's own shape. Nothing where the count is right.
std::optional<PanelVector> other_count_of_cycles(const BundleProblem& folded, const PanelVector& parameters);

}  // namespace ripplegauge
