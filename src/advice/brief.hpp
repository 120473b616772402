// A plan in about ten lines, for the work at hand: what a person reads on a screen or at arm's length.
#pragma once

#include <string>
#include <vector>

#include "advice/plan.hpp"

namespace ripplegauge {

struct BriefLine {
  std::string label;  ///< one or two short words; empty where the line belongs to the one above
  std::string text;
  bool of_spot = false;  ///< one of the lines that grow with the number of spots
};

/// Empty where there is nothing to do.
std::vector<BriefLine> brief_plan(const Plan& plan);

}  // namespace ripplegauge
