// Whether a photo can be measured, and how to take a better one.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "ripplegauge/measure/measure.hpp"

namespace ripplegauge {

/// What to do at the next shot, with how much of it.
struct ShotAdvice {
  std::string code, message;
};

/// A place where something bends or hides the stripes: a dent, or what only looks like one.
struct SeenDisturbance {
  double x_mm = 0, y_mm = 0, size_mm = 0;
  double card_gap_mm = 0;   ///< from its centre to the card's paper
  bool measurable = false;  ///< near enough to the card, whole, not burnt out
};

/// What the photo is like, as far as it could be followed. Absent: not known.
struct ShotFigures {
  int tags_on_card = 0;
  std::optional<double> tag_side_px;    ///< shortest side of the card's tags
  std::optional<double> edge_width_px;  ///< over which a tag's edge rises from 10 to 90 %, in the median
  std::optional<double>
      stripe_period_px;  ///< in the photo, near the middle of what is judged; by geometry if not followed
  std::optional<double> stripe_direction_deg;  ///< in the photo, from level, rising to the right, -90 to 90
  std::optional<double> stripe_direction_on_panel_deg;  ///< from the card's x axis towards y, -90 to 90
  std::optional<double> stripe_pairs;     ///< light and dark in turn without a gap, across the stripes
  std::optional<double> stripe_contrast;  ///< from dark to light, grey values of 255
  std::optional<double> clipped_share;    ///< of the bright stripes, burnt out
  std::optional<double>
      surroundings_in_photo;  ///< share of the panel within 50 mm of the card that the photo shows
  std::optional<double> surroundings_striped;  ///< share of that part over which undisturbed stripes lie
  std::optional<double> visible_depth_mm;      ///< from which on a dent 10 mm wide shows
};

struct PhotoCheck {
  PhotoInfo photo;
  std::optional<Refusal> refusal;             ///< as measure() gives it; absent: the photo can be measured
  int spots = 0;                              ///< that measure() reads; 0 with no refusal means no dent
  std::vector<ShotAdvice> advice;             ///< most needed first
  std::vector<SeenDisturbance> disturbances;  ///< largest first
  std::vector<Warning> warnings;
  Setup setup;
  ShotFigures figures;
  Reading reading;  ///< as measure() gives it
};

/// Measures the photo and adds what a better one would need: its verdict is measure()'s. Throws UsageError
/// for a request that makes no sense.
PhotoCheck check_photo(const Photo& photo, const MeasureRequest& request, const MeasureOptions& options = {});

}  // namespace ripplegauge
