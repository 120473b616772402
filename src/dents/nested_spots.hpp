// A spot with a smaller one of the other sign inside: what an over-pull leaves. A single spot explains the
// two badly, and often with a wrong height.
#pragma once

#include <optional>
#include <vector>

#include "dents/spot_search.hpp"

namespace ripplegauge {

struct NestedPair {
  SpotFit outer, inner;
};

/// Where two spots, one inside the other, explain clearly more than `single` does; absent where they do not.
std::optional<NestedPair> find_nested(const PanelScene& scene, const SpotVector& single,
                                      const std::vector<SpotVector>& others);

}  // namespace ripplegauge
