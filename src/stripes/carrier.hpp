// The stripes' spatial frequency, found where the mirror's geometry says that it must be.
#pragma once

#include <cmath>

#include "stripes/stripe_field.hpp"

namespace ripplegauge {

struct Gradient2 {
  double x = 0, y = 0;
  double norm() const { return std::sqrt(x * x + y * y); }
};

/// Of the model's phase at a panel point, cycles per mm.
Gradient2 phase_gradient(const PanelModel<double>& model, double x_mm, double y_mm);

struct Carrier {
  Gradient2 frequency;  ///< cycles per mm, signed so that it goes with the model's spin in [0, pi)
  double snr = 0, ratio = 0, spin_rad = 0;
};

/// The peak, over a few windows, of the spectrum weighed by how well the frequency fits what the mirror
/// geometry predicts for stripes of that direction.
Carrier find_carrier(const ReducedLight& light, const cv::Mat& covered, const PanelGrid& grid,
                     const BundleProblem& problem, const PanelVector& parameters, const PanelRegion& region);

/// Turns the board (spin, tilts) and, softly, the crown so that the model's phase gradient at the anchor is
/// the carrier's: a small Gauss-Newton by differences.
void match_carrier(const BundleProblem& problem, const Carrier& carrier, PanelVector& parameters);

}  // namespace ripplegauge
