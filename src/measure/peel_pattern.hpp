// The orange peel of a photo, for comparing places. Nothing of it goes into a reading.
#pragma once

#include "core/peel_pattern.hpp"
#include "ripplegauge/measure/measure.hpp"

namespace ripplegauge {

/// Empty where the photo is refused or shows no peel. Throws UsageError for a request that makes no sense.
PeelPattern peel_pattern(const Photo& photo, const MeasureRequest& request,
                         const MeasureOptions& options = {});

}  // namespace ripplegauge
