// The shallowest dent that a photo would have shown: what "no dent" is worth.
#pragma once

#include <optional>

#include "ripplegauge/core/reading.hpp"

namespace ripplegauge {

/// The shallowest round dent of this width that a photo would have shown; absent: not known.
std::optional<VisibleDent> smallest_visible(const Setup& setup, double width_mm);

/// The steepest slope of a round, bell-shaped dent of this size, in mrad.
double steepest_mrad(const VisibleDent& dent);

}  // namespace ripplegauge
