// Whether spots may be what lies on the paint: water drops, dirt, insects.
#pragma once

#include <span>

#include "ripplegauge/core/reading.hpp"

namespace ripplegauge {

/// Whether most of a photo's spots, and several of them, are as small and round as drops. A drop bends the
/// stripes as a small dent does; hail of that kind would be fine grain, and rarely without larger ones.
bool look_like_drops(std::span<const Dent> dents);

}  // namespace ripplegauge
