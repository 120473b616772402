// From found spots to readings: last fits on the tied-down geometry, free surface, numbers, intervals.
#pragma once

#include "dents/spot_search.hpp"
#include "ripplegauge/core/reading.hpp"
#include "ripplegauge/core/relief.hpp"
#include "ripplegauge/measure/measure.hpp"

namespace ripplegauge {

struct SpotReadings {
  std::vector<Dent> dents;
  std::vector<std::vector<BudgetTerm>> budgets;
  std::vector<std::vector<std::pair<double, double>>> outlines_px;
  std::vector<Warning> warnings;
  Relief relief;
};

SpotReadings read_spots(const PanelScene& scene, const BundleResult& bundle,
                        const std::vector<FoundSpot>& found, double bar_length_mm,
                        const MeasureOptions& options);

}  // namespace ripplegauge
