// The height map as a map: blue is low, orange is high, contour lines for prints without colour.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "picture/picture.hpp"
#include "ripplegauge/core/card_definition.hpp"
#include "ripplegauge/core/reading.hpp"
#include "ripplegauge/core/relief.hpp"
#include "words/wording.hpp"

namespace ripplegauge {

struct ReliefMapOptions {
  std::string title = "Relief";
  /// Heights from -range to +range span the colours; absent: the largest height there is. Give the same to
  /// two maps that stand side by side.
  std::optional<double> range_mm;
  /// What is shown, in the card frame; absent: the outlines and some panel around them.
  std::optional<RectangleMm> window;
  /// The card's paper, as large as it was printed: then a small plan below the map shows where on the panel
  /// the map lies beside the card.
  std::vector<RectangleMm> card_paper;
  /// The longer side of the map itself; 1200 px stay sharp on a phone and on a page.
  int map_side_px = 1200;
  Wording words = Wording::plain();
};

/// Nothing is shown beyond what was measured. An empty relief gives a picture that says so.
Picture relief_map(const Relief& relief, const std::vector<Dent>& dents,
                   const ReliefMapOptions& options = {});

}  // namespace ripplegauge
