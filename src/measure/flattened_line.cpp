// Walks along the line and reads the height that it lost off the relief.
#include "flattened_line.hpp"

#include <algorithm>
#include <cmath>
#include <optional>
#include <vector>

#include "core/line_axes.hpp"
#include "relief/spot_geometry.hpp"
#include "spot_numbers.hpp"

namespace ripplegauge {
namespace {

/// A low takes height from a line that the panel turns away at, a high from one that it turns up at. The
/// opposite makes the line sharper.
bool takes_from(const Dent& dent, const BodyLine& line) {
  return (dent.kind == Kind::low) == (line.turn_deg.value > 0);
}

struct Stretch {
  double length_mm = 0, depth_mm = 0;
};

/// The stretch of the line round its lowest point under the spot that lost at least a tenth of the spot's
/// depth.
Stretch stretch_on(const Relief& relief, const BodyLine& line, const Dent& dent) {
  const LineAxes axes(line);
  const double middle_mm = axes.along_mm(dent.x_mm, dent.y_mm);
  const double sign = dent.kind == Kind::low ? -1 : 1, step_mm = 0.25 * relief.step_mm;
  const int reach = static_cast<int>(dent.length_mm.value / step_mm);
  std::vector<double> lost;
  for (int i = -reach; i <= reach; ++i) {
    const PointMm at = axes.at(middle_mm + i * step_mm);
    lost.push_back(sign * height_at(relief, at.x_mm, at.y_mm));
  }
  const auto most = std::max_element(lost.begin(), lost.end());
  const auto kept = [level = 0.1 * dent.depth_mm->value](double height) { return height < level; };
  const auto end = std::find_if(most, lost.end(), kept);
  const auto begin = std::find_if(std::make_reverse_iterator(most), lost.rend(), kept).base();
  return {step_mm * static_cast<double>(end - begin), *most};
}

/// A quantity that is known as well as another one, but for this relative standard uncertainty.
Quantity as_sure_as(const Quantity& known, double value, double more) {
  return interval(value, std::hypot(relative_uncertainty(known), more));
}

/// What a spot takes from a line; nothing where it lies beside it.
std::optional<FlattenedLine> taken_from(const BodyLine& line, const Dent& dent, const Relief& relief) {
  constexpr double hit = 0.5;  // of the depth
  if (!dent.depth_mm || !takes_from(dent, line)) return std::nullopt;
  const Stretch stretch = stretch_on(relief, line, dent);
  if (stretch.depth_mm < hit * dent.depth_mm->value) return std::nullopt;
  // Its ends are where it lost least. Sized on rendered photos.
  constexpr double ends = 0.05;
  return FlattenedLine{as_sure_as(dent.length_mm, stretch.length_mm, ends),
                       as_sure_as(*dent.depth_mm, stretch.depth_mm, 0)};
}

}  // namespace

void tell_flattened_lines(const Relief& relief, Reading& reading) {
  for (Dent& dent : reading.dents)
    for (const BodyLine& line : reading.setup.body_lines()) {
      const auto taken = taken_from(line, dent, relief);
      const auto& most = dent.flattened_line;
      if (taken && (!most || taken->depth_mm.value > most->depth_mm.value)) dent.flattened_line = taken;
    }
}

}  // namespace ripplegauge
