// Lets the surface about a spot go, and asks what of the numbers hung on the shape that the spot had.
#include "free_shape.hpp"

#include <algorithm>
#include <cmath>
#include <random>

#include "core/parallel_for.hpp"
#include "dents/loudness.hpp"
#include "relief/surface_fit.hpp"

namespace ripplegauge {
namespace {

/// How far out from a spot the surface may depart from it, in its semi-axes: a rim, the outer step of a dent.
constexpr double free_reach = 2.2;

/// Share of the disturbance inside the spot that the surface explains: see SpotJudgement.
double explained_by(const std::vector<float>& residual, const Patch& patch,
                    const std::vector<float>& undisturbed, const SpotVector& ellipse) {
  const auto place = [&](std::size_t i) {
    return std::pair<double, double>(patch.pixel[i].x_mm, patch.pixel[i].y_mm);
  };
  const Loudness before = loudness(ellipse, robust_costs(undisturbed), place),
                 after = loudness(ellipse, robust_costs(residual), place);
  if (after.inside_count == 0 || after.around_count == 0) return 0;
  const double quiet = after.around, loud = before.inside - quiet;
  return loud > 0 ? 1 - std::max(after.inside - quiet, 0.0) / loud : 0;
}

SurfaceRequest request_for(const ParametricSpot& spot, const SpotVector& ellipse, double counted_twice,
                           int threads) {
  SurfaceRequest request;
  request.extent = {ellipse[s_x], ellipse[s_y], free_reach * std::exp(ellipse[s_log_a]),
                    free_reach * std::exp(ellipse[s_log_b]), ellipse[s_angle]};
  request.mean_radius_mm = 0.5 * spot.geometry.diameter_mm;
  request.height_mm = (spot.geometry.kind == Kind::low ? -1 : 1) * spot.geometry.depth_mm;
  request.highlight = spot.highlight;
  request.odd_shape = spot.parts.size() > 1;
  request.departs = request.odd_shape || !spot.explains_all;
  request.spacing_mm = std::max(0.25 * request.mean_radius_mm, 0.3);
  request.counted_twice = counted_twice;
  request.threads = threads;
  return request;
}

/// Spread of the numbers over the posterior of the surface.
SpotNumbers spread_over(const SurfaceFit& fit, const ParametricSpot& spot, const SpotNumbers& own,
                        int threads) {
  constexpr std::size_t draws = 16;
  const Relief plain = draw_at(spot.parts, spot.parts, spread_cells);
  std::mt19937 random(7);
  std::normal_distribution<double> normal;
  std::vector<Eigen::VectorXd> drawn(draws, Eigen::VectorXd(fit.precision_root.rows()));
  for (Eigen::VectorXd& z : drawn)
    for (double& value : z) value = normal(random);
  std::vector<SpotNumbers> off(draws);
  parallel_for(draws, threads, [&](std::size_t k) {
    Relief together = plain;
    fit.surface.add_to(together, fit.draw(drawn[k]));
    off[k] = off_by(numbers_of(measure_spot(together), together), own);
  });
  SpotNumbers variance = SpotNumbers::Zero();
  for (const SpotNumbers& d : off) variance += d.cwiseAbs2() / static_cast<double>(draws);
  return variance.cwiseSqrt();
}

/// A surface that ran away (another sign, twice the size) is no refinement of its spot.
bool ran_away(const SpotGeometry& now, const SpotGeometry& then) {
  return now.touches_border || now.kind != then.kind ||
         std::abs(std::log(now.diameter_mm / then.diameter_mm)) > 0.35 ||
         std::abs(std::log(now.depth_mm / then.depth_mm)) > 0.6;
}

}  // namespace

bool ParametricSpot::odd_shape() const {
  constexpr double well_explained =
      0.985;  // spots of the family, where stripes do not crowd, explain 0.99 and more
  return parts.size() > 1 || explained < well_explained;
}

bool explains_all(const SpotJudgement& j) {
  const double left = (1 - j.explained) * (j.disturbed_level - j.quiet_level);
  return left < 2 * j.quiet_level * std::sqrt(2 / std::max(j.peel_cells, 1.0));
}

Patch patch_for_shape(const PanelScene& scene, const ParametricSpot& spot,
                      const std::vector<SpotVector>& others) {
  const std::size_t most_pixels = spot.parts.size() > 1 ? 30000 : 8000;  // see polish() in spot_reading.cpp
  return patch_for(scene, ellipse_of(spot.geometry, spot.parts.front()), others, free_reach + 0.3,
                   most_pixels);
}

std::optional<FreeShape> free_shape(std::vector<Patch> patches,
                                    const std::vector<std::vector<SpotVector>>& seen,
                                    const ParametricSpot& spot, double counted_twice, int threads) {
  constexpr std::size_t fewest_pixels = 500;
  const SpotVector ellipse = ellipse_of(spot.geometry, spot.parts.front());
  std::vector<std::vector<float>> undisturbed;
  for (std::size_t i = 0; i < patches.size(); ++i) {
    Patch& patch = patches[i];
    if (patch.size() < fewest_pixels) return std::nullopt;
    Patch without = patch;
    soften(patch, seen[i]);
    explain(patch, seen[i]);
    set_whitening(patch, ellipse);
    without.whitening = patch.whitening;
    undisturbed.push_back(whitened_residuals(without, ellipse, Eigen::Vector3d::Zero(), false));
  }
  const SurfaceFit fit = fit_surface(patches, request_for(spot, ellipse, counted_twice, threads));
  if (!fit.solved) return std::nullopt;
  FreeShape free{{}, spot.map};
  fit.surface.add_to(free.map, fit.departure);
  free.geometry = measure_spot(free.map);
  if (ran_away(free.geometry, spot.geometry)) return std::nullopt;
  for (std::size_t i = 0; i < patches.size(); ++i)
    free.explained += explained_by(fit.residuals[i], patches[i], undisturbed[i], ellipse) /
                      static_cast<double>(patches.size());
  free.spread = spread_over(fit, spot, numbers_of(free.geometry, free.map), threads);
  return free;
}

}  // namespace ripplegauge
