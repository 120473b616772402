// How near to a spot the panel ends: a lifter's outer foot needs metal to stand on.
#pragma once

#include <opencv2/core/mat.hpp>
#include <vector>

#include "ripplegauge/core/reading.hpp"
#include "stripes/stripe_field.hpp"

namespace ripplegauge {

/// A connected part of what ends the stripes.
struct CoveredPart {
  double x_mm = 0, y_mm = 0, length_mm = 0;
  std::vector<cv::Point> cells;
  bool enclosed = false;  ///< by stripes, nearly all round
};

/// What ends one photo's stripes, but for what may be the board's end or something mirrored beside it:
/// stripes go on round it, or it crosses the picture.
struct PanelEnds {
  PanelGrid grid;
  double period_mm = 0;
  std::vector<CoveredPart> parts;
};

PanelEnds panel_ends(const StripeField& field);

/// Tells of each dent how far from its middle the nearest of these photos' panel ends or is covered.
void tell_panel_ends(const std::vector<PanelEnds>& of_photos, std::vector<Dent>& dents);

/// What stands among the stripes and is no larger than a dent may be: a badge, a sticker, or a dent so deep
/// that none of the board's light comes back. It was not judged, and that must be said.
std::vector<Warning> covered_places(const PanelEnds& ends);

}  // namespace ripplegauge
