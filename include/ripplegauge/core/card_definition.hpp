#pragma once

#include <string>
#include <vector>

namespace ripplegauge {

/// Centre of a tag in the card frame, nominal millimetres (before the bar correction). The tag is printed
/// upright, its top towards +y.
struct CardTag {
  int id = -1;
  double x_mm = 0, y_mm = 0;
};

struct RectangleMm {
  double x0_mm = 0, y0_mm = 0, x1_mm = 0, y1_mm = 0;
};

/// A printed scale card: AprilTag fiducials of family 36h11 in known places, and the paper around them.
/// Nominal millimetres; a printer scales them all by (measured bar length) / bar_nominal_mm.
struct CardDefinition {
  std::string name;
  double tag_side_mm = 0;  ///< the black square, border included: 8 x 8 cells
  std::vector<CardTag> tags;
  std::vector<RectangleMm> paper;  ///< the union is the white paper
  double bar_nominal_mm = 100;
};

}  // namespace ripplegauge
