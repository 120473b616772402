// Spots that a body line crosses.
#pragma once

#include "dents/spot_shape.hpp"
#include "stripes/residual_field.hpp"

namespace ripplegauge {

/// Share of a spot's area where nothing is judged because a body line's own rounding bends the stripes there;
/// of its middle alone for a reach below 1, in units of the contour's radius.
double share_on_line(const ResidualField& field, const SpotVector& spot, double reach = 1);

}  // namespace ripplegauge
