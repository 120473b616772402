// Bent metal moves the edges of stripes; a mark hides them. Where no edge shows inside a spot, or one alone
// beside it, a fit cannot tell the two apart: some bend explains any blot that is no wider than a stripe.
#include "may_be_mark.hpp"

#include <vector>

#include "core/quantile.hpp"
#include "dents/loudness.hpp"
#include "format.hpp"
#include "ripplegauge/core/findings.hpp"

namespace ripplegauge {
namespace {

/// How much light changes well inside a spot, of what it changes from a dark stripe to a bright one.
double swing_inside(const ResidualField& field, const SpotVector& spot) {
  constexpr double well_inside = 0.75;  // of the 10 % contour's radius: a mark's own rim lies further out
  constexpr double few = 0.05;          // of the cells: dirt
  const RadiusIn radius(spot);
  std::vector<float> light;
  for (int r = 0; r < field.grid.rows; ++r)
    for (int c = 0; c < field.grid.columns; ++c)
      if (field.valid.at<uchar>(r, c) != 0 && radius(field.grid.x_mm(c), field.grid.y_mm(r)) < well_inside)
        light.push_back(field.light.at<float>(r, c));
  constexpr std::size_t fewest = 10;
  if (light.size() < fewest) return 1;
  return (quantile_of(light, 1 - few) - quantile_of(light, few)) / (2 * field.typical_contrast);
}

/// Whether a spot falls over less of its half width than a plate that is pressed in. Clamped and evenly
/// pressed, w = (1 - r^2)^2, steepest slope times half width over depth is 1.54 (plate theory, from memory);
/// ray-traced dents of all kinds have 1.0 to 1.7.
bool has_steep_walls(const Dent& dent) {
  constexpr double steepest = 2.5;
  return dent.depth_mm && dent.max_slope_mrad &&
         1e-3 * dent.max_slope_mrad->value * 0.5 * dent.width_mm.value > steepest * dent.depth_mm->value;
}

}  // namespace

std::optional<Warning> may_be_mark(const ResidualField& field, const SpotVector& spot, const Dent& dent) {
  constexpr double hardly_any = 0.25;  // of the swing: paint and lamp change less over a stripe
  const char* reason = nullptr;
  if (dent.width_mm.value < 0.5 * field.period_mm)
    reason = "it is narrower than a single stripe, and one edge alone tells of it";
  else if (swing_inside(field, spot) < hardly_any)
    reason = "no edge of a stripe runs through it";
  else if (has_steep_walls(dent))
    reason = "its walls are steeper than bent metal's";
  if (!reason) return std::nullopt;
  return Warning{code_of(PhotoFinding::may_be_mark),
                 format("The spot at x %.0f, y %.0f mm may be a mark on the panel, or something that lies on "
                        "it: %s. Look at the place, and photograph it again with the board moved by half a "
                        "stripe.",
                        dent.x_mm, dent.y_mm, reason)};
}

}  // namespace ripplegauge
