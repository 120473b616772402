// The facts of a step as one sentence.
#include "advice/step.hpp"

namespace ripplegauge {

std::string facts_text(const Step& step) {
  std::string text;
  for (const Fact& fact : step.facts) {
    text += (text.empty() ? "[" : "; ") + fact.name + " " + fact.value;
    if (fact.source == "assumed" || fact.source == "estimated") text += ", " + fact.source;
  }
  return text.empty() ? text : text + "]";
}

}  // namespace ripplegauge
