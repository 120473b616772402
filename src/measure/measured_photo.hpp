// A measurement together with what it went on from.
#pragma once

#include <vector>

#include "dents/spot_search.hpp"
#include "photo_look.hpp"
#include "ripplegauge/measure/measure.hpp"

namespace ripplegauge {

/// The bundle tied down at the spots, and the spots as they were found.
struct TiedScene {
  BundleProblem problem;
  BundleResult bundle;
  std::vector<FoundSpot> found;
};

struct MeasuredPhoto {
  Measurement result;
  PhotoLook look;
  TiedScene tied;  ///< empty where the look ended in a refusal
};

/// What measure() does, with what it saw on the way.
MeasuredPhoto measure_with_look(const Photo& photo, const MeasureRequest& request,
                                const MeasureOptions& options);

}  // namespace ripplegauge
