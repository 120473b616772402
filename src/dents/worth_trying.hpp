// Whether a place, a rough fit or a fit that is not believed deserves more work. Wrong answers here cost
// time, or a dent that is named as unexplained; they never make a false one.
#pragma once

#include <vector>

#include "attempt.hpp"

namespace ripplegauge {

/// The robust chi square of each pixel of a patch, with no more explained than is already.
std::vector<double> undisturbed_costs(const Patch& patch);

/// How loud an outline is, all in all: an excess may be high over few cells of peel or low over many.
double summed_excess(const Patch& patch, const std::vector<double>& costs, const Outline& outline);

/// Whether a rough fit could still become a believable spot: it may move the stripes by but that share of
/// what it will in the end. What is quiet is told by the outline's ring or the fit's, whichever is quieter.
/// `patch`, `costs` and `options` must outlive what is returned.
WorthFinishing worth_finishing(const Patch& patch, const std::vector<double>& costs, const Outline& outline,
                               const DentOptions& options);

/// A fit that explains most of a disturbance tells, right or wrong, about how far the stripes move.
bool moves_as_peel_does(const SpotJudgement& j, const DentOptions& options);

/// The ring, with some of the spot left in it, against what lies beyond.
bool leaves_its_ring_loud(const SpotJudgement& j, const EffortOptions& effort);

/// What one spot does not explain, or leaves a rim of, though two might explain it: loud, and on as good a
/// place as they would need.
bool worth_parting(const PanelScene& scene, const Attempt& attempt);

/// Loud, compact and whole, yet not explained: a wrong basin.
bool worth_more_starts(const PanelScene& scene, const Attempt& attempt, const Outline& outline, double peak);

}  // namespace ripplegauge
