// A board's pitch checked against a photo: the pitch at which card, stripes and a stated distance agree.
#pragma once

#include <optional>
#include <vector>

#include "ripplegauge/measure/measure.hpp"

namespace ripplegauge {

enum class PitchVerdict {
  agrees,   ///< the stated pitch lies in the interval
  differs,  ///< it does not
  half,     ///< it is half of what the photo shows: one stripe was measured instead of a light and a dark one
  twice     ///< it is twice that
};

struct PitchCheck {
  std::optional<Refusal> refusal;  ///< then nothing else is filled, but warnings
  double stated_mm = 0;
  Quantity pitch_mm;  ///< as the photo shows it
  PitchVerdict verdict = PitchVerdict::differs;
  double from_distance_percent = 0,
         from_photo_percent = 0;  ///< standard uncertainties: the tape; panel, lens, stripes
  std::vector<Warning> warnings;
};

/// request.board_pitch_mm is what is checked; request.board_distance_mm must be given (from the panel beside
/// the card's inner corner to the stripes seen there), or request.board with tags, whose pitch is checked
/// then. Throws UsageError for a request that makes no sense.
PitchCheck check_pitch(const Photo& photo, const MeasureRequest& request, const MeasureOptions& options = {});

}  // namespace ripplegauge
