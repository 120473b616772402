// The same place in three or more photos: what each pull did.
#pragma once

#include <vector>

#include "compare/comparison.hpp"

namespace ripplegauge {

struct SeriesReading {
  Reading reading;
  Relief relief;  ///< may be empty
};

/// One spot in one photo. The height is signed, low negative, so that an over-pulled spot crosses zero.
struct TrackPoint {
  Outcome outcome = Outcome::unchanged;  ///< against the first photo
  std::optional<Quantity> height_mm, diameter_mm, volume_mm3;
  std::optional<Quantity> percent_gone;  ///< of the first photo's depth
  std::optional<Quantity> moved_mm;      ///< by this pull alone
};

struct SpotTrack {
  int spot = -1;                   ///< index in the first reading
  std::vector<TrackPoint> points;  ///< one for each photo, the first included
};

struct Series {
  std::vector<Comparison> against_first;  ///< one for each photo but the first
  std::vector<SpotTrack> tracks;          ///< one for each spot of the first photo
};

/// Throws UsageError for fewer than two readings or a refused one.
Series compare_series(const std::vector<SeriesReading>& readings, const CompareOptions& options = {});

}  // namespace ripplegauge
