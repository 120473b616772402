// The one way through: photo -> card -> panel view -> stripes -> relief -> dents.
#pragma once

#include <optional>
#include <string>

#include "ripplegauge/camera/lens_prior.hpp"
#include "ripplegauge/core/board_definition.hpp"
#include "ripplegauge/core/card_definition.hpp"
#include "ripplegauge/core/reading.hpp"
#include "ripplegauge/core/relief.hpp"
#include "ripplegauge/image/photo.hpp"

namespace ripplegauge {

/// What the user says of the scene.
struct MeasureRequest {
  CardDefinition card;
  double bar_length_mm = 100;               ///< what the card's check bar really measures
  bool bar_measured = true;                 ///< false: nobody measured it, and bar_length_mm is not looked at
  double board_pitch_mm = 0;                ///< one light plus one dark stripe
  std::optional<double> board_distance_mm;  ///< by tape, from the dent to the stripes seen in it
  std::optional<BoardDefinition> board;     ///< a tagged board; its pitch goes before board_pitch_mm
  std::optional<CameraProfile> camera;      ///< the phone's lens; without it EXIF serves
};

struct MeasureOptions {
  double bar_uncertainty_mm = 0.1;  ///< standard; a steel rule read to 0.2 mm
  double tape_uncertainty_mm = 6;   ///< standard; people hold a tape to about that
  bool free_surface = true;         ///< let go of the parametric shape
  int threads = 1;                  ///< for one photo; the result is the same on any number
  /// Throws UsageError naming field, value and rule.
  void validate() const;
};

struct Measurement {
  Reading reading;
  Relief relief;  ///< all spots on one map in the card frame; empty when nothing was measured
};

/// Never throws for what a photo shows: that is Reading::refusal. Throws UsageError for a request that makes
/// no sense.
Measurement measure(const Photo& photo, const MeasureRequest& request, const MeasureOptions& options = {});

}  // namespace ripplegauge
