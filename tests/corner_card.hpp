// The standard card as its file has it, for tests that read no files.
#pragma once

#include "ripplegauge/core/card_definition.hpp"

namespace ripplegauge {

inline CardDefinition corner_card() {
  CardDefinition card;
  card.name = "corner card";
  card.tag_side_mm = 18;
  for (int i = 0; i < 5; ++i) card.tags.push_back({i, 25.0 * i, 0});
  for (int i = 1; i < 4; ++i) card.tags.push_back({4 + i, 0, 25.0 * i});
  card.paper = {{-14, -14, 114, 14}, {-14, -14, 14, 89}};
  return card;
}

}  // namespace ripplegauge
