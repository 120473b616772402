// The photos of a set show one panel: its crown is told by all of them.
#pragma once

#include <vector>

#include "joint_spot.hpp"

namespace ripplegauge {

/// Gives all photos the crown that they tell together, and each what follows for its camera and board.
void agree_on_panel(std::vector<SetView>& views);

}  // namespace ripplegauge
