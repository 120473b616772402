// Three or more photos: each is compared with the first, and its heights are strung to tracks, one a spot.
#include "compare/series.hpp"

#include <cmath>

#include "ripplegauge/core/errors.hpp"

namespace ripplegauge {

namespace {

Quantity signed_height(Kind kind, const Quantity& size) {
  return kind == Kind::high ? size : Quantity{-size.value, -size.high, -size.low};
}

TrackPoint first_point(const Dent& dent) {
  TrackPoint point;
  if (dent.depth_mm) {
    point.height_mm = signed_height(dent.kind, *dent.depth_mm);
    point.percent_gone = Quantity{0, 0, 0};
  }
  point.diameter_mm = dent.diameter_mm;
  point.volume_mm3 = dent.volume_mm3;
  return point;
}

TrackPoint point_after(const SpotChange& change, const Dent& first, const Reading& after) {
  TrackPoint point;
  point.outcome = change.outcome;
  point.percent_gone = change.percent_gone;
  if (change.after.empty()) {
    if (change.outcome == Outcome::gone && change.left_mm)
      point.height_mm = signed_height(first.kind, *change.left_mm);
    return point;
  }
  const Dent& main = after.dents[static_cast<std::size_t>(change.after.front())];
  if (main.depth_mm) point.height_mm = signed_height(main.kind, *main.depth_mm);
  point.diameter_mm = main.diameter_mm;
  point.volume_mm3 = main.volume_mm3;
  return point;
}

/// Each side's errors add as squares; two readings are independent.
std::optional<Quantity> moved_between(const std::optional<Quantity>& from,
                                      const std::optional<Quantity>& to) {
  if (!from || !to) return std::nullopt;
  return Quantity{to->value - from->value,
                  to->value - from->value - std::hypot(to->value - to->low, from->high - from->value),
                  to->value - from->value + std::hypot(to->high - to->value, from->value - from->low)};
}

}  // namespace

Series compare_series(const std::vector<SeriesReading>& readings, const CompareOptions& options) {
  if (readings.size() < 2) throw UsageError("a comparison needs two or more readings");
  Series series;
  const SeriesReading& first = readings.front();
  for (std::size_t k = 1; k < readings.size(); ++k)
    series.against_first.push_back(
        compare_readings(first.reading, first.relief, readings[k].reading, readings[k].relief, options));
  for (std::size_t i = 0; i < first.reading.dents.size(); ++i) {
    const Dent& dent = first.reading.dents[i];
    SpotTrack track{static_cast<int>(i), {first_point(dent)}};
    for (std::size_t k = 1; k < readings.size(); ++k) {
      TrackPoint point = point_after(series.against_first[k - 1].spots[i], dent, readings[k].reading);
      point.moved_mm = moved_between(track.points.back().height_mm, point.height_mm);
      track.points.push_back(point);
    }
    series.tracks.push_back(std::move(track));
  }
  return series;
}

}  // namespace ripplegauge
