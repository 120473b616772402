// The steps for one spot. Not part of the library's interface: plan and next put them together.
#pragma once

#include "advice/plan.hpp"

namespace ripplegauge {

Step tab_step(const Spot& spot, const TabChoice& tab, const AdviceRules& rules);
Step glue_step(const Spot& spot, const TabChoice& tab, const GlueChoice& glue,
               const std::optional<Quantity>& wait_s, const AdviceData& data);
Step pull_step(const Spot& spot, const TabChoice& tab, const PullerChoice& puller, const AdviceData& data);
/// For a spot so small that no tab fits.
Step no_tab_step(const Spot& spot, const TabChoice& tab);

/// "panel warmed to 55 °C", or "panel let cool from 58 to 55 °C": one that the sun made hotter is not heated.
std::string panel_words(const Glue& glue, const PanelFacts& facts);

/// "R14 (round, rigid, face 14 mm)", or what the part would be.
std::string tab_words(const TabChoice& tab);
std::string puller_words(const PullerChoice& puller);
std::string tip_words(const TipChoice& tip);

/// "2 to 4": each pull takes good_gain_percent to twice as much off what the eye sees, down to where it no
/// longer finds it.
std::string expected_pulls(const Spot& spot, const AdviceData& data);

/// Height of the metal that stands proud round a low (or sags round a high), by its two sections; 0 where
/// they show none.
double rim_height_mm(const Dent& dent);
Step tap_step(const Spot& spot, const TipChoice& tip, bool ring_round_a_low);
/// For a spot of which the assessment doubts that it can be pulled.
Step doubt_step(const SeverityAssessment& severity);

/// Estimated time from the glue's panel temperature down to the upper end of the pull's; absent when the air
/// is not known or too warm, and for cold glue.
std::optional<Quantity> estimated_wait(const Spot& spot, const Glue& glue, const SeverityRules& rules);

/// Fills tab, puller, temperatures and steps of a low.
void plan_pull(const Spot& spot, const Reading& reading, const AdviceData& data, DentPlan& plan);

/// Raised width that a tip has to cover: the diameter, or the width of the ring round the spots inside it.
double raised_width_mm(const Reading& reading, std::size_t index);
bool holds_a_low(const Reading& reading, std::size_t index);

}  // namespace ripplegauge
