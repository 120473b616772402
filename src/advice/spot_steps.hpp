// The steps for one spot. Not part of the library's interface: plan and next put them together.
#pragma once

#include "ripplegauge/advice/plan.hpp"

namespace ripplegauge {

Step tab_step(const Spot& spot, const TabChoice& tab, const AdviceRules& rules);
Step glue_step(const Spot& spot, const TabChoice& tab, const Glue& glue, const TemperatureRange& pull_at,
               const std::optional<Quantity>& wait_s, const AdviceData& data);
Step pull_step(const Spot& spot, const TabChoice& tab, const PullerChoice& puller, const AdviceRules& rules);
Step tap_step(const Spot& spot, const TipChoice& tip, bool ring_round_a_low);
/// For a spot of which the assessment doubts that it can be pulled.
Step doubt_step(const SeverityAssessment& severity);

/// Estimated time from the glue's panel temperature down to the upper end of the pull's; absent when the air
/// is not known or too warm.
std::optional<Quantity> estimated_wait(const Spot& spot, const Glue& glue, const TemperatureRange& pull_at,
                                       const SeverityRules& rules);

/// Fills tab, puller, temperatures and steps of a low.
void plan_pull(const Spot& spot, const Reading& reading, const AdviceData& data, DentPlan& plan);

/// Raised width that a tip has to cover: the diameter, or the width of the ring round the spots inside it.
double raised_width_mm(const Reading& reading, std::size_t index);
bool holds_a_low(const Reading& reading, std::size_t index);

}  // namespace ripplegauge
