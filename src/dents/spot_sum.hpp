// Two spots that are one dent: a step within, a kidney, a rim around, a dent pulled at in two places. Fitted
// together, since they overlap.
#pragma once

#include <optional>
#include <vector>

#include "dents/spot_search.hpp"

namespace ripplegauge {

/// The sum of two spots where it explains so much more than `single` that ten more parameters are paid for,
/// and where the two are one dent; absent where not. `first` is the wider one, or the one with the rim around
/// it.
std::optional<SpotSum> find_sum(const PanelScene& scene, const SpotFit& single,
                                const std::vector<SpotVector>& others);

/// One spot that does for two that touch: where few stripes cross them, a low and a high side by side explain
/// what a single spot does, too. Absent where the second one pays its ten parameters.
std::optional<SpotFit> one_for_two(const PanelScene& scene, const SpotVector& a, const SpotVector& b,
                                   const std::vector<SpotVector>& others);

}  // namespace ripplegauge
