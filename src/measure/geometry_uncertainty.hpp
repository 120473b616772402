// How uncertain the bundle leaves scale and phase gain at a spot.
#pragma once

#include "ripplegauge/panel/bundle.hpp"

namespace ripplegauge {

/// Relative standard uncertainties (not per cent).
struct GeometryUncertainty {
  double scale = 0;           ///< of lengths on the panel
  double height = 0;          ///< of heights: scale over gain
  double height_distance = 0; ///< the part of `height` that the board's distance alone makes
};

GeometryUncertainty geometry_uncertainty(const PanelConstants& constants, const BundleResult& bundle, double x_mm, double y_mm);

}  // namespace ripplegauge
