// A measurement together with the look at the photo that it went on from.
#pragma once

#include "photo_look.hpp"
#include "ripplegauge/measure/measure.hpp"

namespace ripplegauge {

struct MeasuredPhoto {
  Measurement result;
  PhotoLook look;
};

/// What measure() does, with what it saw on the way.
MeasuredPhoto measure_with_look(const Photo& photo, const MeasureRequest& request,
                                const MeasureOptions& options);

}  // namespace ripplegauge
