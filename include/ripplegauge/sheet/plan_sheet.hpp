#pragma once

#include <string>

#include "ripplegauge/advice/plan.hpp"
#include "ripplegauge/sheet/sheet.hpp"

namespace ripplegauge {

/// The plan on one page to take to the panel: steps to tick, the first spot at true size with the tab's face
/// in it, cautions. The more spots there are, the shorter each gets; the plan's text and JSON always have
/// everything.
std::string plan_sheet_pdf(const Plan& plan, Paper paper);

}  // namespace ripplegauge
