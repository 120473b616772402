// Finishing fits, and what they are made of: pixels, explained relief, whitening. Starts are in
// spot_starts.cpp, the normal equations in spot_problem.cpp.
#include "dents/spot_fit.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <span>
#include <utility>

#include "core/parallel_for.hpp"
#include "relief/light_fit.hpp"
#include "relief/surface_fit.hpp"
#include "spot_problem.hpp"

namespace ripplegauge {

Outline outline_of(const SpotVector& spot, double growth) {
  const bool a_is_long = spot[s_log_a] > spot[s_log_b];
  return {spot[s_x], spot[s_y], growth * mean_radius_mm(spot), elongation(spot),
          spot[s_angle] + (a_is_long ? 0 : 0.5 * std::numbers::pi)};
}

PixelArrays some_pixels(const Patch& patch, std::size_t most) {
  return patch.size() > most ? gather(patch, spread_evenly(all_pixels(patch), most)) : gather(patch);
}

SpotFit polish_spot(const PixelArrays& pixels, const SpotVector& start, bool highlight, int iterations) {
  Eigen::MatrixXd hessian;
  constexpr double tolerance = 1e-6;  // shapes that few stripes tell apart lie along a flat valley
  const FitOutcome o =
      fit_spots(pixels, std::span(&start, 1), {all_parameters, true, highlight, iterations, tolerance},
                Eigen::Vector3d::Zero(), &hessian);
  SpotFit result;
  const Eigen::LDLT<Eigen::MatrixXd> factor(hessian);
  const Eigen::VectorXd by_height = factor.solve(Eigen::VectorXd::Unit(hessian.rows(), s_height));
  if (factor.isPositive() && by_height.allFinite()) result.height_variance = by_height[s_height];
  result.spot = o.spot();
  result.drift = o.drift;
  result.cost = o.cost;
  return result;
}

std::vector<SpotFit> polish_along_height(const Patch& patch, const SpotFit& fit, bool highlight, double ratio,
                                         double contradicted, int threads) {
  constexpr int most_steps = 12, iterations = 20;
  constexpr std::size_t enough = 5000;  // pixels: what the stripes do not tell, more of them do not either
  constexpr double tolerance = 3e-5;    // of some thousands: a tenth, where differences of several count
  const PixelArrays pixels = some_pixels(patch, enough);
  std::vector<int> all_but_height = all_parameters;
  std::erase(all_but_height, static_cast<int>(s_height));
  const auto fitted = [&](SpotFit at, double step) {
    at.spot[s_height] *= step;
    const FitOutcome o = fit_spots(pixels, std::span(&at.spot, 1),
                                   {all_but_height, true, highlight, iterations, tolerance}, at.drift);
    at.spot = o.spot(), at.drift = o.drift, at.cost = o.cost;
    return at;
  };
  const SpotFit middle = fitted(fit, 1);
  const std::array<double, 2> steps{1 / ratio, ratio};
  std::array<std::vector<SpotFit>, 2> ways;
  parallel_for(ways.size(), threads, [&](std::size_t way) {
    double least = middle.cost;
    SpotFit at = middle;
    for (int i = 0; i < most_steps && at.cost < least + contradicted; ++i) {
      at = fitted(at, steps[way]);
      least = std::min(least, at.cost);
      ways[way].push_back(at);
    }
  });
  std::vector<SpotFit> fits{middle};
  for (const std::vector<SpotFit>& way : ways) fits.insert(fits.end(), way.begin(), way.end());
  std::sort(fits.begin(), fits.end(),
            [](const SpotFit& a, const SpotFit& b) { return a.spot[s_height] < b.spot[s_height]; });
  return fits;
}

double correlated_noise(const Patch& patch, const SpotFit& fit, bool highlight) {
  const double radius_mm = mean_radius_mm(fit.spot);
  const double block_mm = std::max({0.8, 0.25 * radius_mm, patch.peel_cell_mm});
  const PixelArrays pixels = some_pixels(patch);
  const LightFit light = light_under(pixels, std::span(&fit.spot, 1), fit.drift, highlight);
  constexpr double around = 1.3, everywhere_mm = 1e3;
  double inflation = 1;
  for (const double from : {0.0, around})
    inflation = std::max(inflation, score_inflation(pixels, light, block_mm, fit.spot[s_x], fit.spot[s_y],
                                                    from * radius_mm, everywhere_mm));
  return std::max(1.0, inflation * patch.effective_pixel_share);
}

void explain(Patch& patch, std::span<const SpotVector> spots) {
  HitPoints hits;
  ReliefAtPixels relief;
  relief_of(some_pixels(patch), spots, hits, relief);
  patch.base_z = std::move(relief.z);
  patch.base_slope_x = std::move(relief.slope_x);
  patch.base_slope_y = std::move(relief.slope_y);
  patch.base_xx = std::move(relief.xx);
  patch.base_xy = std::move(relief.xy);
  patch.base_yy = std::move(relief.yy);
  patch.soft_slope_x.assign(patch.size(), 0);  // the base has it now
  patch.soft_slope_y.assign(patch.size(), 0);
}

void explain(Patch& patch, const SpotVector& spot) { explain(patch, std::span(&spot, 1)); }

void soften(Patch& patch, std::span<const SpotVector> spots) {
  patch.soft_slope_x.assign(patch.size(), 0);
  patch.soft_slope_y.assign(patch.size(), 0);
  SlopesByBlur slopes = slopes_by_blur(some_pixels(patch), spots);
  patch.soft_slope_x = std::move(slopes.x);
  patch.soft_slope_y = std::move(slopes.y);
}

void soften(Patch& patch, const SpotVector& spot) { soften(patch, std::span(&spot, 1)); }

void set_whitening(Patch& patch, const SpotVector& spot) {
  HitPoints hits;
  ReliefAtPixels relief;
  LightFit light;
  const PixelArrays pixels = some_pixels(patch);
  relief_of(pixels, std::span(&spot, 1), hits, relief);
  predict_phase(pixels, relief, Eigen::Vector3d::Zero(), light);
  for (std::size_t i = 0; i < patch.size(); ++i) patch.whitening[i] = whitening_at(patch, light.phase[i]);
}

void set_whitening(Patch& patch, std::span<const SpotVector> spots) {
  Patch explained = patch;
  explain(explained, spots);
  SpotVector nothing_more = spots.front();
  nothing_more[s_height] = 0;
  set_whitening(explained, nothing_more);
  patch.whitening = std::move(explained.whitening);
}

std::vector<float> whitened_residuals(const Patch& patch, const SpotVector& spot,
                                      const Eigen::Vector3d& drift, bool highlight) {
  return light_under(some_pixels(patch), std::span(&spot, 1), drift, highlight).residual;
}

}  // namespace ripplegauge
