// How shallow a dent a photo would still have shown, from what its reading tells of three widths or of one
// slope.
#include "core/visible_dent.hpp"

#include <algorithm>
#include <vector>

namespace ripplegauge {
namespace {

/// A Gaussian spot of width w at a tenth of its depth has sigma = w / 4.2919 (2 sqrt(2 ln 10)) and, one sigma
/// from its middle, the slope depth / sigma exp(-1/2): so its depth is this times its steepest slope times
/// its width.
constexpr double depth_per_slope_and_width = 1.6487 / 4.2919;

/// Depth between the widths that the reading tells of; beyond them a smaller dent shows no shallower, and a
/// wider one at the same slope.
double depth_at(const std::vector<VisibleDent>& known, double width_mm) {
  if (width_mm <= known.front().width_mm) return known.front().depth_mm;
  for (std::size_t i = 1; i < known.size(); ++i) {
    const VisibleDent &a = known[i - 1], &b = known[i];
    if (width_mm > b.width_mm) continue;
    return a.depth_mm + (width_mm - a.width_mm) / (b.width_mm - a.width_mm) * (b.depth_mm - a.depth_mm);
  }
  return known.back().depth_mm * width_mm / known.back().width_mm;
}

}  // namespace

double steepest_mrad(const VisibleDent& dent) {
  return 1000 * dent.depth_mm / (depth_per_slope_and_width * dent.width_mm);
}

std::optional<VisibleDent> smallest_visible(const Setup& setup, double width_mm) {
  if (!(width_mm > 0)) return std::nullopt;
  if (!setup.smallest_visible.empty()) {
    std::vector<VisibleDent> known = setup.smallest_visible;
    std::sort(known.begin(), known.end(),
              [](const VisibleDent& a, const VisibleDent& b) { return a.width_mm < b.width_mm; });
    return VisibleDent{width_mm, depth_at(known, width_mm)};
  }
  if (!setup.visible_slope_mrad) return std::nullopt;
  // told for 10 mm; a smaller spot must be steeper in proportion, and so is no less deep
  const double width_counted_mm = std::max(width_mm, 10.0);
  return VisibleDent{width_mm,
                     *setup.visible_slope_mrad / 1000 * depth_per_slope_and_width * width_counted_mm};
}

}  // namespace ripplegauge
