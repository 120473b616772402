// From many starts to the best spot of each basin: short fits of all, longer ones of the better, full fits of
// the best.
#pragma once

#include <span>
#include <vector>

#include "dents/spot_fit.hpp"
#include "radial_search.hpp"
#include "spot_problem.hpp"

namespace ripplegauge {

FitOutcome fit(const PixelArrays& pixels, const SpotVector& start, const FitRequest& request);

/// Pixels for a search, mostly inside the outline, thinly around it.
std::vector<int> search_pixels(const Patch& patch, const Outline& outline, std::size_t wanted);

/// Of the spot family: a Gaussian, a flat-footed polynomial, two with flatter bottoms.
std::span<const UnitSpot> few_shapes();

/// Period of the stripes in the middle of the patch.
double undisturbed_period_mm(const Patch& patch);

/// Short fits of all starts, longer ones of the better half of each group, full fits of the best, other
/// shapes about the best of those. Ends early where none is worth going on with.
SpotFit best_of_starts(const Patch& patch, const Outline& outline, const std::vector<int>& coarse,
                       const SpotSearchOptions& options, const std::vector<std::vector<Start>>& groups);

}  // namespace ripplegauge
