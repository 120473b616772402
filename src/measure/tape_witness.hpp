// The tape as a witness beside card, stripes and tags: it may narrow what they say of the board's distance,
// never overrule it.
#pragma once

#include <optional>
#include <vector>

#include "panel/bundle.hpp"
#include "ripplegauge/core/reading.hpp"

namespace ripplegauge {

/// A tape measurement from the anchor to the stripes seen in it, and its standard uncertainty.
struct Tape {
  double distance_mm = 0, uncertainty_mm = 0;
};

/// Fits the whole bundle, the card's scale being known to `card_scale_uncertainty` (relative, standard). A
/// tape that agrees with what the photo says narrows the distance; one that does not is set aside with a
/// warning that names both figures.
BundleResult fit_with_tape(BundleProblem& problem, const PanelVector& start, const BundleNoise& noise,
                           const std::optional<Tape>& tape, double card_scale_uncertainty,
                           std::vector<Warning>& warnings);

/// What the tape counts for: its standard uncertainty, but no less than what it is off from the photo's own
/// distance. A tape that is a little off, by more than its owner thinks, then cannot pull the interval off
/// the truth, and its weight fades away before it is set aside.
double witness_uncertainty_mm(const Tape& tape, double photo_mm);

/// Beyond this many standard uncertainties of the two together they contradict each other: by chance once in
/// 370 photos.
inline constexpr double tape_contradicted = 3;

}  // namespace ripplegauge
