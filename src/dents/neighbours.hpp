// Dents that stand within one another's rings.
#pragma once

#include <vector>

#include "attempt.hpp"

namespace ripplegauge {

/// Two or more spots about these round parts of a disturbance, each believed with the others (and
/// `explained`) explained; none where that does not work out.
std::vector<Attempt> believed_together(const PanelScene& scene, const std::vector<Outline>& lobes,
                                       const std::vector<SpotVector>& explained);

}  // namespace ripplegauge
