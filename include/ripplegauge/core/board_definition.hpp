#pragma once

#include <optional>
#include <string>
#include <vector>

namespace ripplegauge {

/// Centre of a tag in the board frame: x right and y up as seen from the board's printed face, origin at its
/// centre.
struct BoardTag {
  int id = -1;
  double x_mm = 0, y_mm = 0, side_mm = 0;
};

/// A striped board: straight stripes along x of the board frame; the pitch is one light plus one dark stripe.
struct BoardDefinition {
  std::string name;
  double pitch_mm = 0;
  bool printed_mirrored = false;  ///< tags are printed mirrored, so that their reflection in the panel reads
  std::vector<BoardTag> tags;
};

}  // namespace ripplegauge
