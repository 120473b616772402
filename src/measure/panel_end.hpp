// How near to a spot the panel ends: a lifter's outer foot needs metal to stand on.
#pragma once

#include <vector>

#include "ripplegauge/core/reading.hpp"
#include "stripes/stripe_field.hpp"

namespace ripplegauge {

/// Tells of each dent how far from its middle the nearest of these photos' panel ends or is covered.
void tell_panel_ends(const std::vector<const StripeField*>& fields, std::vector<Dent>& dents);

/// What stands among the stripes and is no larger than a dent may be: a badge, a sticker, or a dent so deep
/// that none of the board's light comes back. It was not judged, and that must be said.
std::vector<Warning> covered_places(const StripeField& field);

}  // namespace ripplegauge
