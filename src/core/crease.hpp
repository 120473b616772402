// Where a crease is pulled: a spot at least twice as long as it is wide.
#pragma once

#include <vector>

#include "ripplegauge/core/reading.hpp"

namespace ripplegauge {

/// Long enough, for its width, to hold itself up along its line.
bool is_crease(const Dent& dent);
bool is_crease(const Quantity& length_mm, const Quantity& width_mm);

/// Where faces of this length (mm) are set along a crease, in the order of the pulls, in the card frame: both
/// ends first, for they hold it shut, then inwards. `in_row` stand there at once; a single one goes from both
/// ends to the deepest point, and stands in the middle alone where it reaches from end to end, or nearly so.
/// Of any other spot: its deepest point.
std::vector<PointMm> pull_places(const Dent& dent, double face_mm, int in_row = 1);

}  // namespace ripplegauge
