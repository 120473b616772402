// Normal equations of the intensities of a patch by relief parameters, slow phase drift and light.
#pragma once

#include <Eigen/Dense>
#include <vector>

#include "ripplegauge/relief/patch.hpp"

namespace ripplegauge {

/// The relief at the pixels that take part: height, slopes and second derivatives, base included.
struct ReliefAtPixels {
  std::vector<float> z, slope_x, slope_y, xx, xy, yy;
  void resize(std::size_t n) {
    for (auto* v : {&z, &slope_x, &slope_y, &xx, &xy, &yy}) v->resize(n);
  }
};

struct LightFitOptions {
  bool highlight = false;      ///< metallic paint: three more columns, see LightModel
  double slope_scale = 1;      ///< that they are divided by
  double robust_scale = 3;     ///< whitened residuals beyond this count linearly only
};

/// Light solved by least squares for a given relief, and what is left.
struct LightFit {
  LightModel::Coefficients coefficients = LightModel::Coefficients::Zero();
  std::vector<float> phase, profile_value, profile_slope;  ///< S and dS/dphase
  std::vector<float> by_slope_x, by_slope_y;               ///< of the phase
  std::vector<float> residual;                             ///< whitened; 0 where a clipped pixel is explained
  double cost = 0;                                         ///< sum of pseudo-Huber costs, not yet weighed
};

/// `pixels` are indices into the patch (a subset or all).
void predict_phase(const Patch& patch, const std::vector<int>& pixels, const ReliefAtPixels& relief,
                   const Eigen::Vector3d& drift, LightFit& out);
void solve_light(const Patch& patch, const std::vector<int>& pixels, const ReliefAtPixels& relief,
                 const LightFitOptions& options, LightFit& out);

/// The light model's columns at pixel k of the subset, for the phase in `fit`; returns how many.
int light_columns(const Patch& patch, std::size_t pixel, float profile_value, double slope_x, double slope_y,
                  const LightFitOptions& options, LightModel::Coefficients& columns);

/// Ridge that keeps the light model tame, per unit of summed squared weight; order of LightModel.
double light_ridge(int column);

std::vector<int> all_pixels(const Patch& patch);

}  // namespace ripplegauge
