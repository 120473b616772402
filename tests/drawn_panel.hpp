// A photo drawn by the library's own panel model, with everything known: for tests of single steps, which
// need no fit before them. (That the model sees a panel as a camera does is asked elsewhere, by renderers of
// their own.)
#pragma once

#include <functional>
#include <memory>
#include <opencv2/core.hpp>
#include <vector>

#include "dents/spot_search.hpp"
#include "stripes/stripe_field.hpp"

namespace ripplegauge {

struct Drawing {
  std::vector<SpotVector> spots;
  double pitch_mm = 10, board_distance_mm = 280;
  double crown_x_per_mm = 1 / 3000.0, crown_y_per_mm = 1 / 5000.0;
  double peel_slope = 0;              ///< rms of each component
  double peel_cell_mm = 1.5;          ///< standard deviation of its waves
  double noise = 0.004;               ///< of linear light
  double light = 0.35, swing = 0.22;  ///< mean and amplitude of the stripes
  double edge_cycles = 0.04;          ///< softness of the stripes' edges
  unsigned seed = 1;
  /// Changes the linear light at a pixel and the panel point that it shows.
  std::function<double(double light, double u_px, double v_px, double x_mm, double y_mm)> spoil{};
  std::function<void(PanelVector& parameters, PanelConstants& constants)> alter{};
};

/// Owns what a PanelScene points at.
struct DrawnPanel {
  cv::Mat grey;
  BundleProblem problem;
  StripeField field;
  ResidualField residual;
  PanelScene scene;
};

inline constexpr double drawn_pixels_per_mm = 4;

/// 190 x 150 mm of panel about (65, 50), seen by a camera 12 degrees off the normal; the card lies in its
/// corner.
std::unique_ptr<DrawnPanel> draw_panel(const Drawing& drawing);

/// A Gaussian, or what `power` and `order` make of it.
SpotVector drawn_spot(double x_mm, double y_mm, double diameter_mm, double height_mm, double elongation = 1,
                      double angle_rad = 0, double power = 2, double order = 20);

}  // namespace ripplegauge
