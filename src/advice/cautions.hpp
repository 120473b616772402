#pragma once

#include <vector>

#include "advice/step.hpp"
#include "severity/panel_facts.hpp"

namespace ripplegauge {

/// What the work at hand involves.
struct Work {
  bool pulling = false;  ///< tabs, isopropyl alcohol
  bool tapping = false;
  bool cutting = false;            ///< compound by hand or machine
  double glue_c = 0, panel_c = 0;  ///< hottest of each
  bool heat = true;                ///< hot glue, warmed tabs and panel; cold glue needs none
};

/// The cautions that apply. They stand in the code and not in a rules file, so that no edit can lose them.
std::vector<Caution> cautions_for(const Work& work, const PanelFacts& facts);

/// How soon touching metal of this temperature burns, from published contact times: the row at or above it,
/// so that the time is never stated too long. Below the table's first row: empty.
std::string burns_after(double celsius);

}  // namespace ripplegauge
