// How uncertain the bundle leaves scale and phase gain at a spot.
#pragma once

#include "dents/joint_fit.hpp"
#include "panel/bundle.hpp"

namespace ripplegauge {

/// Relative standard uncertainties (not per cent).
struct GeometryUncertainty {
  double scale = 0;            ///< of lengths on the panel
  double height = 0;           ///< of heights: scale over gain
  double height_distance = 0;  ///< the part of `height` that the board's distance alone makes
};

/// What a pixel says of a spot that lies there, and how it moves with the parameters: the place, and the
/// logarithms of size and height. Rows in the order of FrameShift.
using FrameGradient = Eigen::Matrix<double, frame_shifts, panel_parameters>;
FrameGradient frame_gradient(const PanelConstants& constants, const PanelVector& parameters, double x_mm,
                             double y_mm);

GeometryUncertainty geometry_uncertainty(const PanelConstants& constants, const BundleResult& bundle,
                                         double x_mm, double y_mm);

/// How many times as wrong as the card's size a depth at a place is, relatively. The stripes' period fixes 1
/// + d / c in units of the card's print: a card told 1 % too large puts the board c / d % too near, and
/// depths go with its size over the board's distance.
double depth_error_by_card_size(const PanelModel<double>& model, double x_mm, double y_mm);

/// Turn of the panel's normal, in radians, that nobody has seen: card and stripes fix a quadric, and a panel
/// bends here more, there less. A third of the turn between the card's edge, `card_gap_mm` away, and the spot
/// is what may be missing.
double unseen_turn_rad(const PanelVector& parameters, double x_mm, double y_mm, double card_gap_mm);

}  // namespace ripplegauge
