#include "spot_reading.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <numbers>
#include <optional>
#include <random>

#include "geometry_uncertainty.hpp"
#include "ripplegauge/core/least_squares.hpp"
#include "ripplegauge/core/parallel_for.hpp"
#include "ripplegauge/relief/spot_geometry.hpp"
#include "ripplegauge/relief/surface_fit.hpp"

namespace ripplegauge {
namespace {

using HeightFunction = std::function<double(double x_mm, double y_mm)>;

Relief draw(const HeightFunction& height, double x_mm, double y_mm, double reach_mm, int cells) {
  Relief map;
  map.columns = map.rows = cells;
  map.step_mm = 2 * reach_mm / (cells - 1);
  map.x0_mm = x_mm - reach_mm, map.y0_mm = y_mm - reach_mm;
  map.height_mm.resize(static_cast<std::size_t>(cells) * cells);
  for (int r = 0; r < cells; ++r)
    for (int c = 0; c < cells; ++c)
      map.at(r, c) = static_cast<float>(height(map.x0_mm + c * map.step_mm, map.y0_mm + r * map.step_mm));
  return map;
}

/// A spot after its last fit.
struct FinalSpot {
  SpotVector spot;
  SpotFit fit;                       ///< that it comes from, where it is one spot
  std::optional<SpotVector> second;  ///< the sum of the two is the spot
  SpotJudgement judgement;
  double explained = 0;  ///< share of the disturbance inside that the last shape explains, by the surface or without
  SpotGeometry parametric, shape;  ///< of the parametric spot, and of the free surface (or the same)
  Relief map;
  double diameter_sd = 0, depth_sd = 0, length_sd = 0, width_sd = 0, half_sd = 0;  ///< statistical, relative
  bool highlight = false, free_surface = false;

  HeightFunction parametric_height() const {
    if (!second) return [shape = SpotShape<double>(spot)](double x, double y) { return shape.at(x, y).z; };
    return [a = SpotShape<double>(spot), b = SpotShape<double>(*second)](double x, double y) { return a.at(x, y).z + b.at(x, y).z; };
  }
};

double reach_of(const SpotVector& s) { return 1.7 * std::exp(std::max(s[s_log_a], s[s_log_b])); }

double reach_of(const FinalSpot& f) {
  if (!f.second) return reach_of(f.spot);
  const double apart = std::hypot((*f.second)[s_x] - f.spot[s_x], (*f.second)[s_y] - f.spot[s_y]);
  return std::max(reach_of(f.spot), apart + reach_of(*f.second));
}

constexpr int map_cells = 201;  ///< of the relief that sizes are read from

Relief draw(const HeightFunction& height, const FinalSpot& f, int cells) {
  return draw(height, f.spot[s_x], f.spot[s_y], reach_of(f), cells);
}

/// The spread of a spot's numbers that the fit of its parameters leaves open, by their covariance (JCGM 100, 5.2.2): a few
/// pieces of stripe can be explained by many spots of the family, and no surface about one of them tells of the others.
void spread_by_parameters(const SpotFit& fit, int threads, FinalSpot& out) {
  constexpr SpotParameter shaping[] = {s_log_a, s_log_b, s_height, s_log_p, s_log_n, s_slant_u, s_slant_v};
  constexpr int count = std::size(shaping), numbers = 5;
  constexpr int cells = 81;
  const SpotGeometry& g = out.parametric;
  const auto log_numbers = [&](const SpotVector& spot) {
    const SpotShape<double> shape(spot);
    const SpotGeometry v = measure_spot(draw([&](double x, double y) { return shape.at(x, y).z; }, out, cells));
    Eigen::Matrix<double, numbers, 1> n;
    n << v.diameter_mm / g.diameter_mm, v.depth_mm / g.depth_mm, v.length_mm / g.length_mm, v.width_mm / g.width_mm,
        v.half_diameter_mm / std::max(g.half_diameter_mm, 1e-6);
    return n;
  };
  Eigen::Matrix<double, numbers, count> jacobian;
  Eigen::Matrix<double, count, count> covariance;
  parallel_for(count, threads, [&](std::size_t k) {
    const auto i = static_cast<int>(k);
    for (int j = 0; j < count; ++j) covariance(i, j) = fit.covariance(shaping[i], shaping[j]);
    const double step = std::max(0.5 * std::sqrt(std::max(covariance(i, i), 0.0)), 1e-4 * std::max(std::abs(fit.spot[shaping[i]]), 0.1));
    SpotVector up = fit.spot, down = fit.spot;
    up[shaping[i]] += step, down[shaping[i]] -= step;
    jacobian.col(i) = (log_numbers(up) - log_numbers(down)) / (2 * step);
  });
  const Eigen::Matrix<double, numbers, 1> variance = (jacobian * covariance * jacobian.transpose()).diagonal().cwiseMax(0);
  double* sd[numbers] = {&out.diameter_sd, &out.depth_sd, &out.length_sd, &out.width_sd, &out.half_sd};
  for (int k = 0; k < numbers; ++k) *sd[k] = std::max(*sd[k], std::sqrt(variance[k]));
}

/// The ellipse of a spot's contour at a tenth of its depth, as a spot.
SpotVector ellipse_of(const SpotGeometry& g, const SpotVector& like) {
  SpotVector s = like;
  s[s_x] = g.x_mm, s[s_y] = g.y_mm, s[s_angle] = g.angle_deg * std::numbers::pi / 180;
  s[s_log_a] = std::log(0.5 * g.length_mm), s[s_log_b] = std::log(0.5 * std::max(g.width_mm, 0.1 * g.length_mm));
  s[s_height] = 0;
  return s;
}

/// How far out from a spot the surface may depart from it, in its semi-axes: a rim, the outer step of a dent.
constexpr double free_reach = 2.2;

/// Share of the disturbance inside the spot that the surface explains: see SpotJudgement.
double explained_by(const SurfaceFit& fit, const Patch& patch, const std::vector<float>& undisturbed, const SpotVector& ellipse) {
  constexpr double scale = 3;
  double before = 0, after = 0, ring = 0, inside = 0, around = 0;
  const double c = std::cos(ellipse[s_angle]), s = std::sin(ellipse[s_angle]);
  for (std::size_t i = 0; i < patch.size(); ++i) {
    const double dx = patch.pixel[i].x_mm - ellipse[s_x], dy = patch.pixel[i].y_mm - ellipse[s_y];
    const double rho = std::hypot((c * dx + s * dy) / std::exp(ellipse[s_log_a]), (c * dy - s * dx) / std::exp(ellipse[s_log_b]));
    if (rho < 1.1) before += pseudo_huber_cost(undisturbed[i], scale), after += pseudo_huber_cost(fit.residual[i], scale), ++inside;
    if (rho > 1.25 && rho < free_reach) ring += pseudo_huber_cost(fit.residual[i], scale), ++around;
  }
  if (inside == 0 || around == 0) return 0;
  const double quiet = ring / around, loud = before / inside - quiet;
  return loud > 0 ? 1 - std::max(after / inside - quiet, 0.0) / loud : 0;
}

/// Whether a single spot leaves nothing over that scatter does not: its mean misfit inside is no more than the ring's, within
/// twice the standard error that as many samples as there are cells of orange peel give. A surface would draw the peel then.
bool explains_all(const SpotJudgement& j) {
  const double left = (1 - j.explained) * (j.disturbed_level - j.quiet_level);
  return left < 2 * j.quiet_level * std::sqrt(2 / std::max(j.peel_cells, 1.0));
}

void refine_shape(const PanelScene& scene, const std::vector<SpotVector>& others, int threads, FinalSpot& out) {
  const SpotVector ellipse = ellipse_of(out.parametric, out.spot);
  Patch patch = patch_for(scene, ellipse, others, free_reach + 0.3, 8000);
  if (patch.size() < 500) return;
  Patch without = patch;
  if (out.second)
    explain(patch, SpotSum{out.spot, *out.second});
  else
    explain(patch, out.spot);
  set_whitening(patch, ellipse);
  without.whitening = patch.whitening;
  const std::vector<float> undisturbed = whitened_residuals(without, ellipse, Eigen::Vector3d::Zero(), false);
  SurfaceRequest request;
  request.extent = {ellipse[s_x], ellipse[s_y], free_reach * std::exp(ellipse[s_log_a]), free_reach * std::exp(ellipse[s_log_b]), ellipse[s_angle]};
  request.mean_radius_mm = 0.5 * out.parametric.diameter_mm;
  request.height_mm = (out.parametric.kind == Kind::low ? -1 : 1) * out.parametric.depth_mm;
  request.highlight = out.highlight;
  constexpr double well_explained = 0.985;  // spots of the family, where stripes do not crowd, explain 0.99 and more
  request.odd_shape = out.second.has_value() || out.judgement.explained < well_explained;
  request.departs = out.second.has_value() || !explains_all(out.judgement);
  request.spacing_mm = std::max(0.25 * request.mean_radius_mm, 0.3);
  request.threads = threads;
  const SurfaceFit fit = fit_surface(patch, request);
  if (!fit.solved) return;
  const HeightFunction parametric = out.parametric_height();
  Relief map = out.map;
  const Relief departure = draw([&](double x, double y) { return fit.surface.height(fit.departure, x, y); }, out, map_cells);
  for (std::size_t i = 0; i < map.height_mm.size(); ++i) map.height_mm[i] += departure.height_mm[i];
  const SpotGeometry g = measure_spot(map);
  // A surface that ran away (another sign, twice the size) is no refinement of this spot.
  if (g.touches_border || g.kind != out.parametric.kind || std::abs(std::log(g.diameter_mm / out.parametric.diameter_mm)) > 0.35 ||
      std::abs(std::log(g.depth_mm / out.parametric.depth_mm)) > 0.6)
    return;
  out.explained = explained_by(fit, patch, undisturbed, ellipse);
  out.shape = g;
  out.map = map;
  out.free_surface = true;
  // Spread of the numbers over the posterior of the surface.
  constexpr std::size_t draws = 16;
  constexpr int cells = 81;
  const Relief spot = draw(parametric, out, cells);
  std::mt19937 random(7);
  std::normal_distribution<double> normal;
  std::vector<Eigen::VectorXd> drawn(draws, Eigen::VectorXd(fit.precision_root.rows()));
  for (Eigen::VectorXd& z : drawn)
    for (double& value : z) value = normal(random);
  std::vector<SpotGeometry> seen(draws);
  parallel_for(draws, threads, [&](std::size_t k) {
    const Eigen::VectorXd c = fit.draw(drawn[k]);
    Relief together = draw([&](double x, double y) { return fit.surface.height(c, x, y); }, out, cells);
    for (std::size_t i = 0; i < spot.height_mm.size(); ++i) together.height_mm[i] += spot.height_mm[i];
    seen[k] = measure_spot(together);
  });
  double s[5] = {0, 0, 0, 0, 0};
  for (const SpotGeometry& v : seen) {
    const double d[5] = {v.diameter_mm / g.diameter_mm - 1, v.depth_mm / g.depth_mm - 1, v.length_mm / g.length_mm - 1,
                         v.width_mm / g.width_mm - 1, v.half_diameter_mm / std::max(g.half_diameter_mm, 1e-6) - 1};
    for (int j = 0; j < 5; ++j) s[j] += d[j] * d[j] / static_cast<double>(draws);
  }
  out.diameter_sd = std::sqrt(s[0]), out.depth_sd = std::sqrt(s[1]), out.length_sd = std::sqrt(s[2]);
  out.width_sd = std::sqrt(s[3]), out.half_sd = std::sqrt(s[4]);
}

/// Relative standard uncertainty that no formula here knows of: paint that is no ideal mirror, paper that lifts, a lens
/// that is no polynomial. Sized on ray-traced photos.
constexpr double model_diameter = 0.003, model_depth = 0.008;

/// Orange peel adds its own slope to the spot's: relative uncertainty times SpotJudgement::moved_snr, beyond what it adds to the
/// noise of the free surface. Sized on ray-traced photos.
constexpr double peel_on_diameter = 0.9, peel_on_depth = 1.8;

/// What profile, blur and light leave of the stripes' phase, as relative uncertainty times the cycles that a spot moves
/// the stripes by at most: little of a stripe's width in a deep dent, much of what a shallow one does. Sized on
/// ray-traced photos.
constexpr double phase_on_diameter = 0.003, phase_on_depth = 0.012;

/// What the re-drawn stripes leave over is shape that the surface does not have: relative uncertainty times that share. And the
/// more of it the spot left that the surface started from, the likelier a wrong fringe, which a surface smooths over but never
/// leaves: times share (share / doubt)^2. Fits that explained 0.7 were off by tens of per cent. Sized on ray-traced photos.
constexpr double unexplained_on_diameter = 0.1, unexplained_on_depth = 0.3, doubt = 0.08;

/// Below this share explained, by the surface or by what it started from, an answer carries a warning.
constexpr double least_agreement = 0.85;

/// A spot smaller than a stripe period shows only pieces of one stripe: many outlines explain them. Relative uncertainty
/// times (period / diameter - 1)^1.3. Sized on ray-traced photos.
constexpr double coarse_on_diameter = 0.015, coarse_on_depth = 0.02;

/// Fits a spot, or the sum of two, anew with the photo's final geometry.
void polish(const PanelScene& scene, const std::vector<SpotVector>& others, const SpotFit& found, bool judged, FinalSpot& out) {
  constexpr std::size_t most_pixels = 14000, least_pixels = 500;
  if (out.second) {
    const SpotSum start{out.spot, *out.second};
    const Patch patch = patch_for(scene, start, others, most_pixels);
    if (patch.size() < least_pixels) return;
    const SpotSum plain = polish_sum(patch, start, false), with = polish_sum(patch, plain, true, 12);
    out.highlight = with.cost < plain.cost - highlight_worth;
    const SpotSum& sum = out.highlight ? with : plain;
    const auto sane = [](const SpotVector& now, const SpotVector& then) { return now.allFinite() && now[s_height] * then[s_height] > 0; };
    if (sane(sum.first, out.spot) && sane(sum.second, *out.second)) out.spot = sum.first, out.second = sum.second;
    if (judged) out.judgement = judge(patch, sum, found, out.highlight, scene.pixels_per_mm);
    return;
  }
  const Patch patch = patch_for(scene, out.spot, others, 2.0, most_pixels);
  if (patch.size() < least_pixels) return;
  SpotFit start = found;
  start.spot = out.spot;
  const SpotFit fit = polish_with_fitting_light(patch, start, out.highlight);
  if (fit.spot.allFinite() && fit.spot[s_height] * out.spot[s_height] > 0) out.spot = fit.spot;
  out.fit = fit;
  out.fit.spot = out.spot;
  if (judged) out.judgement = judge(patch, fit, out.highlight, scene.pixels_per_mm);
}

Quantity interval(double value, double relative) { return quantity_from_standard_uncertainty(value, value * relative, 2.0, 0.0); }

}  // namespace

SpotReadings read_spots(const PanelScene& scene, const BundleResult& bundle, const std::vector<FoundSpot>& found,
                        double bar_length_mm, const MeasureOptions& options) {
  SpotReadings out;
  std::vector<FinalSpot> finals(found.size());
  for (std::size_t i = 0; i < found.size(); ++i) finals[i].spot = found[i].fit.spot, finals[i].second = found[i].second;
  const auto others = [&](std::size_t self) {
    std::vector<SpotVector> rest;
    for (std::size_t i = 0; i < finals.size(); ++i) {
      if (i == self) continue;
      rest.push_back(finals[i].spot);
      if (finals[i].second) rest.push_back(*finals[i].second);
    }
    return rest;
  };
  const int sweeps = found.size() > 1 ? 2 : 1;
  // All spots at once, each under the others as they were before: on any number of threads the same.
  for (int sweep = 0; sweep < sweeps; ++sweep) {
    std::vector<FinalSpot> next = finals;
    parallel_for(finals.size(), scene.threads,
                 [&](std::size_t i) { polish(scene, others(i), found[i].fit, sweep + 1 == sweeps, next[i]); });
    finals = std::move(next);
  }
  const int threads_a_spot = finals.size() > 1 ? 1 : scene.threads;
  parallel_for(finals.size(), scene.threads, [&](std::size_t i) {
    FinalSpot& f = finals[i];
    f.map = draw(f.parametric_height(), f, map_cells);
    f.parametric = f.shape = measure_spot(f.map);
    f.explained = f.judgement.explained;
    if (!(f.parametric.diameter_mm > 0)) return;
    if (options.free_surface) refine_shape(scene, others(i), threads_a_spot, f);
    if (!f.second) spread_by_parameters(f.fit, threads_a_spot, f);
  });

  const PanelModel<double> model(scene.problem->constants, scene.parameters);
  for (const FinalSpot& f : finals) {
    const SpotGeometry& g = f.shape;
    if (!(g.diameter_mm > 0)) continue;
    const GeometryUncertainty geometry = geometry_uncertainty(scene.problem->constants, bundle, g.x_mm, g.y_mm);
    const double bar = options.bar_uncertainty_mm / bar_length_mm;
    const auto shift = [](double a, double b) { return std::abs(a / b - 1); };
    // The two shapes see the same pixels with different freedom: their difference is what the choice is worth.
    const double shape_d = shift(f.shape.diameter_mm, f.parametric.diameter_mm);
    const double shape_h = shift(f.shape.depth_mm, f.parametric.depth_mm);
    const double left = 1 - std::clamp(f.explained, 0.0, 1.0), left_at_start = 1 - std::clamp(f.judgement.explained, 0.0, 1.0);
    const double unexplained = std::hypot(left, left_at_start * std::pow(left_at_start / doubt, 2));
    const double unexplained_d = unexplained_on_diameter * unexplained, unexplained_h = unexplained_on_depth * unexplained;
    const double peel_d = peel_on_diameter / std::max(f.judgement.moved_snr, 1.0);
    const double peel_h = peel_on_depth / std::max(f.judgement.moved_snr, 1.0);
    const double moved_cycles =
        2 * model.board_view(g.x_mm, g.y_mm).distance_mm * g.max_slope / scene.problem->constants.pitch_mm;
    const double phase_d = phase_on_diameter / std::max(moved_cycles, 0.01);
    const double phase_h = phase_on_depth / std::max(moved_cycles, 0.01);
    const double coarse = std::pow(std::max(0.0, scene.field->period_mm / g.diameter_mm - 1), 1.3);
    const double coarse_d = coarse_on_diameter * coarse, coarse_h = coarse_on_depth * coarse;
    const double u_d = std::hypot(std::hypot(geometry.scale, bar, peel_d), std::hypot(f.diameter_sd, model_diameter, coarse_d), std::hypot(shape_d, unexplained_d, phase_d));
    const double u_h = std::hypot(std::hypot(geometry.height, bar, peel_h), std::hypot(f.depth_sd, model_depth, coarse_h), std::hypot(shape_h, unexplained_h, phase_h));
    Dent dent;
    dent.kind = g.kind;
    dent.x_mm = g.x_mm, dent.y_mm = g.y_mm;
    dent.diameter_mm = interval(g.diameter_mm, u_d);
    dent.length_mm = interval(g.length_mm, std::hypot(u_d, f.length_sd));
    dent.width_mm = interval(g.width_mm, std::hypot(u_d, f.width_sd));
    dent.half_diameter_mm = interval(g.half_diameter_mm, std::hypot(u_d, f.half_sd));
    dent.angle_deg = g.angle_deg;
    dent.depth_mm = interval(g.depth_mm, u_h);
    dent.max_slope_mrad = interval(1e3 * g.max_slope, std::hypot(u_h, u_d));
    if (f.parametric.max_curvature > 0)
      dent.min_radius_mm = interval(1 / f.parametric.max_curvature, std::hypot(u_h, 2 * u_d, 0.05));
    dent.volume_mm3 = interval(g.volume_mm3, std::hypot(u_h, 2 * u_d));
    if (const auto& outer = found[static_cast<std::size_t>(&f - finals.data())].inside_of) dent.inside_of = static_cast<int>(*outer);
    dent.agreement = std::clamp(f.explained, 0.0, 1.0);
    if (std::min(f.explained, f.judgement.explained) < least_agreement)
      out.warnings.push_back({"poorly_explained", "A dent's shape does not explain all that the stripes show inside it: its sizes may be far off. "
                                                  "Photograph it again from nearer or with coarser stripes."});
    dent.outline = outline_polygon(f.map, g);
    dent.section = length_section(f.map, g, 0.8 * g.length_mm, 81);
    constexpr double dense_fringes_px = 0.3;  // cycles per pixel: a whole fringe can hide between samples
    if (f.judgement.fringe_density_px > dense_fringes_px) {
      dent.notes.push_back("stripes run very dense inside: the depth may be off by a fringe");
      out.warnings.push_back({"dense_fringes", "Inside a dent the stripes run too dense to count surely; go nearer or use a coarser pitch."});
    }
    std::vector<BudgetTerm> budget;
    const auto term = [&](const char* name, const char* note, double d, double h) { budget.push_back({name, note, 100 * d, 100 * h}); };
    term("print scale", "check bar read with a rule", bar, bar);
    term("camera, crown, corners", "bundle covariance, scale at the spot", geometry.scale, geometry.scale);
    term("board distance", scene.problem->board_corners.empty() ? "tape and stripes" : "board tags, tape and stripes", 0,
         geometry.height_distance);
    term("board tilt and rest of geometry", "bundle covariance", 0, std::sqrt(std::max(0.0, geometry.height * geometry.height - geometry.scale * geometry.scale - geometry.height_distance * geometry.height_distance)));
    term("stripe phase noise, odd shapes", "spread of spot and free surface", f.diameter_sd, f.depth_sd);
    term("orange peel", "its slope against the spot's", peel_d, peel_h);
    term("stripes hardly moved", "what the phase model leaves, against the move", phase_d, phase_h);
    term("coarse stripes", "spot smaller than a stripe period", coarse_d, coarse_h);
    term("shape", "free surface against parametric spot", shape_d, shape_h);
    term("unexplained stripes", "what the re-drawn stripes leave over", unexplained_d, unexplained_h);
    term("model", "sized on ray-traced photos", model_diameter, model_depth);
    out.budgets.push_back(budget);
    std::vector<std::pair<double, double>> outline_px;
    for (const PointMm& p : dent.outline) {
      const auto pixel = model.pixel_from_panel(p.x_mm, p.y_mm);
      outline_px.emplace_back(pixel.u_px, pixel.v_px);
    }
    out.outlines_px.push_back(outline_px);
    out.dents.push_back(dent);
  }

  // One map of everything.
  if (!finals.empty()) {
    double x0 = 1e9, y0 = 1e9, x1 = -1e9, y1 = -1e9;
    for (const FinalSpot& f : finals) {
      x0 = std::min(x0, f.map.x0_mm), y0 = std::min(y0, f.map.y0_mm);
      x1 = std::max(x1, f.map.x0_mm + (f.map.columns - 1) * f.map.step_mm);
      y1 = std::max(y1, f.map.y0_mm + (f.map.rows - 1) * f.map.step_mm);
    }
    Relief& map = out.relief;
    map.step_mm = std::max(0.1, std::max(x1 - x0, y1 - y0) / 800);
    map.x0_mm = x0, map.y0_mm = y0;
    map.columns = static_cast<int>((x1 - x0) / map.step_mm) + 1, map.rows = static_cast<int>((y1 - y0) / map.step_mm) + 1;
    map.height_mm.assign(static_cast<std::size_t>(map.columns) * map.rows, 0.0F);
    for (const FinalSpot& f : finals)
      for (int r = 0; r < map.rows; ++r)
        for (int c = 0; c < map.columns; ++c)
          map.at(r, c) += static_cast<float>(height_at(f.map, x0 + c * map.step_mm, y0 + r * map.step_mm));
  }
  return out;
}

}  // namespace ripplegauge
