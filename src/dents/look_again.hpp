// What is looked at again once all spots are known: they were found one by one, the strongest first.
#pragma once

#include <vector>

#include "dents/spot_search.hpp"

namespace ripplegauge {

/// Two spots that touch and that a single one explains as well become that one.
void join_touching(const PanelScene& scene, std::vector<FoundSpot>& spots);

/// What was fitted before its neighbours were known, and did not explain all or took two spots to, gets
/// another try with all others explained. One spot is believed before two.
void look_again(const PanelScene& scene, std::vector<FoundSpot>& spots);

}  // namespace ripplegauge
