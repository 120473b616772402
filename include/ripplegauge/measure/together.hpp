// Several photos of one place, read as one: one panel, one set of dents, each photo with its own camera,
// board and light.
#pragma once

#include <span>
#include <vector>

#include "ripplegauge/measure/measure.hpp"

namespace ripplegauge {

constexpr std::size_t fewest_together = 2, most_together = 8;

struct PhotoOfPlace {
  Photo photo;
  MeasureRequest request;  ///< card and bar are those of the first photo
};

struct TogetherMeasurement {
  Measurement joint;             ///< Reading::set says which photos it stands on
  std::vector<Reading> singles;  ///< each photo by itself, in their order
  /// Outlines of the joint reading's spots in the pixels of each photo; empty where it was left out.
  std::vector<std::vector<std::vector<std::pair<double, double>>>> outlines_px;
};

/// Reads each photo by itself, matches what they found by place, and fits every dent to all photos that show
/// its place. The card must lie where it lay. Photos that contradict the others are left out by name; where
/// two contradict each other and no third one decides, the reading is a refusal. Throws UsageError for fewer
/// than two photos, or more than eight, and for what no request may say.
TogetherMeasurement measure_together(std::span<const PhotoOfPlace> photos,
                                     const MeasureOptions& options = {});

}  // namespace ripplegauge
