// What plans are made of. Nothing is advised without a reason and without the number or fact that it rests
// on.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "ripplegauge/core/quantity.hpp"

namespace ripplegauge {

/// Where a fact comes from: "measured", "estimated", "given" (by the user), "assumed" (nobody said), "kit",
/// "rule", "published".
struct Fact {
  std::string name, value, source;
  std::optional<Quantity> number;  ///< when the value is one
  std::string unit;
};

struct Step {
  std::string code;                 ///< stable name, such as "choose_tab"
  std::string action;               ///< what to do, short
  std::vector<std::string> points;  ///< its parts, one a line
  std::string reason;
  std::vector<Fact> facts;
  std::vector<std::string> alternatives;
  std::string missing;  ///< what would serve better and is not in the kit
};

/// "[diameter 22.4 mm (21.9–22.9); metal not sure, assumed]": what a step rests on, in one line.
std::string facts_text(const Step& step);

/// Something that the user could tell and that would change the plan.
struct Question {
  std::string code;  ///< the option that answers it, such as "material"
  std::string text;
};

struct Caution {
  std::string code, text, source;
  std::string before_step;  ///< code of the step that it belongs to; empty: to all
};

}  // namespace ripplegauge
