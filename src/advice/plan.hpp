// From a reading to what an experienced technician would do next, in order, with reasons.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "advice/choose.hpp"
#include "advice/step.hpp"
#include "ripplegauge/core/reading.hpp"
#include "severity/coins.hpp"
#include "severity/severity.hpp"

namespace ripplegauge {

/// The data that a plan rests on.
struct AdviceData {
  Kit kit;
  AdviceRules rules;
  SeverityRules severity;
  CoinSet coins;
};

struct DentPlan {
  std::size_t number = 0;        ///< 1 for the reading's first dent
  Dent dent;                     ///< as in the reading
  Place place = Place::unknown;  ///< as the photo shows or the person says
  SeverityAssessment severity;
  std::string coin;              ///< "larger than a nickel (21.2 mm)"
  std::string order_reason;      ///< why it stands where it stands among several
  std::optional<TabChoice> tab;  ///< lows only, unless they cannot be pulled
  std::optional<PullerChoice> puller;
  std::vector<PointMm> pull_places;  ///< where the tab is set, in the order of the pulls; lows only
  std::optional<TipChoice> tip;      ///< highs only
  std::optional<TemperatureRange> pull_at;
  std::optional<Quantity> wait_s;  ///< estimate: from the warm panel to the upper end of pull_at
  std::string expected_pulls;      ///< "2 to 4"; lows only
  std::vector<Step> steps;
};

struct Plan {
  std::string photo;
  std::string kit;
  Status status = Status::refused;
  std::string nothing_to_do;  ///< why there are no steps; empty when there are some
  PanelFacts facts;
  std::optional<GlueChoice> glue;  ///< where anything is pulled
  std::vector<Step> before;        ///< once, before the first spot
  std::vector<DentPlan> dents;     ///< in the order of work
  std::vector<Step> after;         ///< after each pull, and when to stop
  std::vector<Question> questions;
  std::vector<Caution> cautions;
};

Plan make_plan(const Reading& reading, const PanelFacts& facts, const AdviceData& data);

/// A spot with what its choices depend on. It refers to its arguments: keep them alive.
Spot spot_of(const Dent& dent, const SeverityAssessment& severity, const PanelFacts& facts,
             const SeverityRules& rules);

/// For a terminal or a plain file: lines of at most `width` cells. What to do in about ten lines; `full` says
/// all of it, with reasons, alternatives, questions, and each caution before the step that it belongs to.
std::string plan_to_text(const Plan& plan, bool full = false, int width = 80);

}  // namespace ripplegauge
