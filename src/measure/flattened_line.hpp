// What a spot on a body line did to the line: a fold that was hit loses its sharpness, and that is what
// people see and repair there.
#pragma once

#include "ripplegauge/core/reading.hpp"
#include "ripplegauge/core/relief.hpp"

namespace ripplegauge {

/// Tells of each spot of the reading that lies on a body line over what length and by how much the line is
/// flattened; of two lines the one that lost more. `relief` holds all spots against the folded panel.
void tell_flattened_lines(const Relief& relief, Reading& reading);

}  // namespace ripplegauge
