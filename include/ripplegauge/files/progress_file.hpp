// Progress as the user takes it away: figures as JSON, and the chart.
#pragma once

#include <string>
#include <vector>

#include "ripplegauge/picture/chart.hpp"
#include "ripplegauge/training/progress.hpp"

namespace ripplegauge {

std::string progress_to_json(const std::vector<TraineeProgress>& all);

/// Percent gone by attempt, a panel for each trainee and exercise; triangles are attempts that left a high.
Chart progress_chart(const std::vector<TraineeProgress>& all);

}  // namespace ripplegauge
