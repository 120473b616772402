#include "spot_reading.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>
#include <random>
#include <span>

#include "geometry_uncertainty.hpp"
#include "ripplegauge/core/findings.hpp"
#include "ripplegauge/core/least_squares.hpp"
#include "ripplegauge/core/parallel_for.hpp"
#include "ripplegauge/dents/loudness.hpp"
#include "ripplegauge/relief/spot_geometry.hpp"
#include "ripplegauge/relief/surface_fit.hpp"

namespace ripplegauge {
namespace {

/// A spot after its last fit.
struct FinalSpot {
  SpotVector spot;
  std::vector<std::pair<SpotVector, double>>
      alike;                         ///< spots that explain the stripes nearly as well, with their weights
  std::optional<SpotVector> second;  ///< the sum of the two is the spot
  SpotJudgement judgement;
  double explained =
      0;  ///< share of the disturbance inside that the last shape explains, by the surface or without
  SpotGeometry parametric, shape;  ///< of the parametric spot, and of the free surface (or the same)
  Relief map;
  double curvature = 0;  ///< 1/mm, averaged over bend_length_mm
  /// Relative spread of diameter, depth, length, width, half diameter and averaged curvature: over what the
  /// fit of the parameters leaves open, and over the shapes that the free surface could have.
  using Spread = Eigen::Matrix<double, 6, 1>;
  Spread by_parameters = Spread::Zero(), by_shapes = Spread::Zero();
  bool highlight = false, odd_shape = false, free_surface = false;

  std::vector<SpotVector> parts() const { return second ? std::vector{spot, *second} : std::vector{spot}; }
};

double reach_of(const SpotVector& s) { return 1.7 * std::exp(std::max(s[s_log_a], s[s_log_b])); }

double reach_of(const FinalSpot& f) {
  if (!f.second) return reach_of(f.spot);
  const double apart = std::hypot((*f.second)[s_x] - f.spot[s_x], (*f.second)[s_y] - f.spot[s_y]);
  return std::max(reach_of(f.spot), apart + reach_of(*f.second));
}

constexpr int map_cells = 201;  ///< of the relief that sizes are read from

/// Some spots where this one lies.
Relief draw(std::span<const SpotVector> spots, const FinalSpot& where, int cells) {
  return draw_spots(spots, where.spot[s_x], where.spot[s_y], reach_of(where), cells);
}

FinalSpot::Spread numbers_of(const SpotGeometry& g, const Relief& map) {
  FinalSpot::Spread numbers;
  numbers << g.diameter_mm, g.depth_mm, g.length_mm, g.width_mm, g.half_diameter_mm,
      averaged_curvature(map, g, bend_length_mm);
  return numbers;
}

/// Relative to a spot's own numbers, minus 1.
FinalSpot::Spread off_by(const FinalSpot::Spread& numbers, const FinalSpot::Spread& own) {
  return (numbers.array() / own.array().max(1e-6) - 1).matrix();
}

/// The spread of a spot's numbers over the spots that explain the stripes alike: a few pieces of stripe can
/// be explained by many spots of the family, and no surface about one of them tells of the others.
void spread_by_parameters(int threads, FinalSpot& out) {
  constexpr int cells = 81;
  const FinalSpot::Spread own = numbers_of(out.parametric, draw(out.parts(), out, cells));
  std::vector<FinalSpot::Spread> off(out.alike.size());
  parallel_for(off.size(), threads, [&](std::size_t k) {
    const Relief other = draw(std::span(&out.alike[k].first, 1), out, cells);
    off[k] = off_by(numbers_of(measure_spot(other), other), own);
  });
  FinalSpot::Spread variance = FinalSpot::Spread::Zero();
  for (std::size_t k = 0; k < off.size(); ++k) variance += out.alike[k].second * off[k].cwiseAbs2();
  out.by_parameters = variance.cwiseSqrt();
}

/// The ellipse of a spot's contour at a tenth of its depth, as a spot.
SpotVector ellipse_of(const SpotGeometry& g, const SpotVector& like) {
  SpotVector s = like;
  s[s_x] = g.x_mm, s[s_y] = g.y_mm, s[s_angle] = g.angle_deg * std::numbers::pi / 180;
  s[s_log_a] = std::log(0.5 * g.length_mm),
  s[s_log_b] = std::log(0.5 * std::max(g.width_mm, 0.1 * g.length_mm));
  s[s_height] = 0;
  return s;
}

/// How far out from a spot the surface may depart from it, in its semi-axes: a rim, the outer step of a dent.
constexpr double free_reach = 2.2;

/// Share of the disturbance inside the spot that the surface explains: see SpotJudgement.
double explained_by(const SurfaceFit& fit, const Patch& patch, const std::vector<float>& undisturbed,
                    const SpotVector& ellipse) {
  const auto place = [&](std::size_t i) {
    return std::pair<double, double>(patch.pixel[i].x_mm, patch.pixel[i].y_mm);
  };
  const Loudness before = loudness(ellipse, robust_costs(undisturbed), place),
                 after = loudness(ellipse, robust_costs(fit.residual), place);
  if (after.inside_count == 0 || after.around_count == 0) return 0;
  const double quiet = after.around, loud = before.inside - quiet;
  return loud > 0 ? 1 - std::max(after.inside - quiet, 0.0) / loud : 0;
}

/// Whether a single spot leaves nothing over that scatter does not: its mean misfit inside is no more than
/// the ring's, within twice the standard error that as many samples as there are cells of orange peel give. A
/// surface would draw the peel then.
bool explains_all(const SpotJudgement& j) {
  const double left = (1 - j.explained) * (j.disturbed_level - j.quiet_level);
  return left < 2 * j.quiet_level * std::sqrt(2 / std::max(j.peel_cells, 1.0));
}

void refine_shape(const PanelScene& scene, const std::vector<SpotVector>& others, FinalSpot& out) {
  const SpotVector ellipse = ellipse_of(out.parametric, out.spot);
  Patch patch = patch_for(scene, ellipse, others, free_reach + 0.3, 8000);
  if (patch.size() < 500) return;
  Patch without = patch;
  const auto start_from = [&](const auto& spot) { soften(patch, spot), explain(patch, spot); };
  if (out.second)
    start_from(SpotSum{out.spot, *out.second});
  else
    start_from(out.spot);
  set_whitening(patch, ellipse);
  without.whitening = patch.whitening;
  const std::vector<float> undisturbed = whitened_residuals(without, ellipse, Eigen::Vector3d::Zero(), false);
  SurfaceRequest request;
  request.extent = {ellipse[s_x], ellipse[s_y], free_reach * std::exp(ellipse[s_log_a]),
                    free_reach * std::exp(ellipse[s_log_b]), ellipse[s_angle]};
  request.mean_radius_mm = 0.5 * out.parametric.diameter_mm;
  request.height_mm = (out.parametric.kind == Kind::low ? -1 : 1) * out.parametric.depth_mm;
  request.highlight = out.highlight;
  constexpr double well_explained =
      0.985;  // spots of the family, where stripes do not crowd, explain 0.99 and more
  // What takes two spots is no shape of the family, whatever a few edges say. What one explains but roughly
  // may be: there the evidence tells how far the surface departs, and only the interval allows for more.
  request.odd_shape = out.second.has_value();
  out.odd_shape = out.second.has_value() || out.judgement.explained < well_explained;
  request.departs = out.second.has_value() || !explains_all(out.judgement);
  request.spacing_mm = std::max(0.25 * request.mean_radius_mm, 0.3);
  request.threads = scene.threads;
  const SurfaceFit fit = fit_surface(patch, request);
  if (!fit.solved) return;
  Relief map = out.map;
  fit.surface.add_to(map, fit.departure);
  const SpotGeometry g = measure_spot(map);
  // A surface that ran away (another sign, twice the size) is no refinement of this spot.
  if (g.touches_border || g.kind != out.parametric.kind ||
      std::abs(std::log(g.diameter_mm / out.parametric.diameter_mm)) > 0.35 ||
      std::abs(std::log(g.depth_mm / out.parametric.depth_mm)) > 0.6)
    return;
  out.explained = explained_by(fit, patch, undisturbed, ellipse);
  out.shape = g;
  out.map = map;
  out.free_surface = true;
  // Spread of the numbers over the posterior of the surface.
  constexpr std::size_t draws = 16;
  constexpr int cells = 81;
  const Relief spot = draw(out.parts(), out, cells);
  std::mt19937 random(7);
  std::normal_distribution<double> normal;
  std::vector<Eigen::VectorXd> drawn(draws, Eigen::VectorXd(fit.precision_root.rows()));
  for (Eigen::VectorXd& z : drawn)
    for (double& value : z) value = normal(random);
  const FinalSpot::Spread own = numbers_of(g, map);
  std::vector<FinalSpot::Spread> off(draws);
  parallel_for(draws, scene.threads, [&](std::size_t k) {
    Relief together = spot;
    fit.surface.add_to(together, fit.draw(drawn[k]));
    off[k] = off_by(numbers_of(measure_spot(together), together), own);
  });
  FinalSpot::Spread variance = FinalSpot::Spread::Zero();
  for (const FinalSpot::Spread& d : off) variance += d.cwiseAbs2() / static_cast<double>(draws);
  out.by_shapes = variance.cwiseSqrt();
}

/// Relative standard uncertainty that no formula here knows of: paint that is no ideal mirror, paper that
/// lifts, a lens that is no polynomial. Sized on ray-traced photos.
constexpr double model_diameter = 0.002, model_depth = 0.007;

/// Orange peel is slope of the panel's own and adds to the spot's, less the more looks at it there are:
/// relative standard uncertainty times move of the stripes over their jitter times root of the looks. Sized
/// on ray-traced photos.
constexpr double peel_share = 1;

/// The free surface's prior leaves room for rims and kidneys. Where the family explains the stripes, such a
/// shape is a thing that they do not show, seldom there: this much of its spread counts. Sized on ray-traced
/// photos.
constexpr double unseen_shapes = 0.25;

/// What the re-drawn stripes leave over is shape that the surface does not have: relative uncertainty times
/// that share. And the more of it the spot left that the surface started from, the likelier a wrong fringe,
/// which a surface smooths over but never leaves: times share (share / doubt)^2. Fits that explained 0.7 were
/// off by tens of per cent. Sized on ray-traced photos.
constexpr double unexplained_on_diameter = 0.1, unexplained_on_depth = 0.3, doubt = 0.08;

/// Below this share explained, by the surface or by what it started from, an answer carries a warning.
constexpr double least_agreement = 0.85;

/// Relative standard uncertainty of a spot's height by its last polish.
double height_sd(const SpotFit& fit) {
  return std::sqrt(noise_and_profile * std::max(fit.height_variance, 0.0)) /
         std::max(std::abs(fit.spot[s_height]), 1e-9);
}

/// Spots of other heights that explain the stripes nearly as well, weighted by their likelihood. They tell
/// how far the answer may be off, and no more: which of them is best goes by what profile and blur leave.
std::vector<std::pair<SpotVector, double>> alike(const Patch& patch, const SpotFit& fit, bool highlight,
                                                 int threads) {
  constexpr double negligible = 4;  // e^-4 of the best one's weight
  constexpr double step_sd = 1.5;   // sums over a Gaussian at such steps are right to 1e-3
  const double ratio = 1 + std::clamp(step_sd * height_sd(fit), 0.001, 0.2);
  const std::vector<SpotFit> fits =
      polish_along_height(patch, fit, highlight, ratio, negligible * noise_and_profile, threads);
  const double least = std::min_element(fits.begin(), fits.end(), [](const SpotFit& a, const SpotFit& b) {
                         return a.cost < b.cost;
                       })->cost;
  std::vector<std::pair<SpotVector, double>> weighted;
  double sum = 0;
  for (const SpotFit& f : fits) {
    weighted.emplace_back(f.spot, std::exp((least - f.cost) / noise_and_profile));
    sum += weighted.back().second;
  }
  for (auto& [spot, weight] : weighted) weight /= sum;
  return weighted;
}

/// Fits a spot, or the sum of two, anew with the photo's final geometry; roughly where it is not judged yet.
void polish(const PanelScene& scene, const std::vector<SpotVector>& others, const SpotFit& found, bool judged,
            FinalSpot& out) {
  constexpr std::size_t least_pixels = 500, least_to_judge = 4000;
  constexpr int a_few = 8;  // iterations: neither what blur shifts nor a neighbour asks for an exact spot
  constexpr int until_settled = 40;
  const std::size_t most_pixels = judged ? 14000 : 5000;
  if (out.second) {
    const SpotSum start{out.spot, *out.second};
    Patch patch = patch_for(scene, start, others, most_pixels);
    if (patch.size() < least_pixels) return;
    if (judged) soften(patch, polish_sum(patch, start, false, a_few));
    const SpotSum plain = polish_sum(patch, start, false), with = polish_sum(patch, plain, true, 12);
    out.highlight = with.cost < plain.cost - highlight_worth;
    const SpotSum& sum = out.highlight ? with : plain;
    const auto sane = [](const SpotVector& now, const SpotVector& then) {
      return now.allFinite() && now[s_height] * then[s_height] > 0;
    };
    if (sane(sum.first, out.spot) && sane(sum.second, *out.second))
      out.spot = sum.first, out.second = sum.second;
    if (judged) out.judgement = judge(patch, sum, found, out.highlight, scene.pixels_per_mm);
    return;
  }
  Patch patch = patch_for(scene, out.spot, others, 2.0, most_pixels);
  if (patch.size() < least_pixels) return;
  SpotFit start = found;
  start.spot = out.spot;
  if (judged) soften(patch, start.spot);
  SpotFit fit = polish_with_fitting_light(patch, start, out.highlight, a_few, least_to_judge);
  if (judged) {
    soften(patch, fit.spot);
    fit = polish_with_fitting_light(patch, fit, out.highlight, until_settled);
  }
  const bool sane = fit.spot.allFinite() && fit.spot[s_height] * out.spot[s_height] > 0;
  if (!sane) fit.spot = out.spot;
  out.spot = fit.spot;
  if (!judged) return;
  // Correlated noise widens what is known; the best fit stays what it is.
  Patch noisy = patch;
  noisy.effective_pixel_share /= correlated_noise(patch, fit, out.highlight);
  constexpr int one_iteration = 1;
  out.alike = alike(noisy, polish_spot(some_pixels(noisy), fit.spot, out.highlight, one_iteration),
                    out.highlight, scene.threads);
  out.judgement = judge(patch, fit, out.highlight, scene.pixels_per_mm);
}

/// 95 %. A size is a scale: what is not known of it is a factor, and its logarithm has this standard
/// uncertainty.
Quantity interval(double value, double relative) {
  constexpr double coverage_factor = 2;
  const double factor = std::exp(coverage_factor * relative);
  return {value, value / factor, value * factor};
}

}  // namespace

SpotReadings read_spots(const PanelScene& scene, const BundleResult& bundle,
                        const std::vector<FoundSpot>& found, double bar_length_mm,
                        const MeasureOptions& options) {
  SpotReadings out;
  std::vector<FinalSpot> finals(found.size());
  for (std::size_t i = 0; i < found.size(); ++i)
    finals[i].spot = found[i].fit.spot, finals[i].second = found[i].second;
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
    parallel_for(finals.size(), scene.threads, [&](std::size_t i) {
      polish(scene, others(i), found[i].fit, sweep + 1 == sweeps, next[i]);
    });
    finals = std::move(next);
  }
  parallel_for(finals.size(), scene.threads, [&](std::size_t i) {
    FinalSpot& f = finals[i];
    f.map = draw(f.parts(), f, map_cells);
    f.parametric = f.shape = measure_spot(f.map);
    f.explained = f.judgement.explained;
    if (!(f.parametric.diameter_mm > 0)) return;
    if (options.free_surface) refine_shape(scene, others(i), f);
    f.curvature = averaged_curvature(f.map, f.shape, bend_length_mm);
    if (!f.second) spread_by_parameters(scene.threads, f);
  });

  const PanelModel<double> model(scene.problem->constants, scene.parameters);
  const Vector3<double>& camera = model.camera_centre();
  for (const FinalSpot& f : finals) {
    const SpotGeometry& g = f.shape;
    if (!(g.diameter_mm > 0)) continue;
    const GeometryUncertainty geometry =
        geometry_uncertainty(scene.problem->constants, bundle, g.x_mm, g.y_mm);
    const double bar = options.bar_uncertainty_mm / bar_length_mm;
    const auto shift = [](double a, double b) { return std::abs(a / b - 1); };
    // The two shapes see the same pixels with different freedom: their difference is what the choice is
    // worth.
    const double shape_d = shift(f.shape.diameter_mm, f.parametric.diameter_mm);
    const double shape_h = shift(f.shape.depth_mm, f.parametric.depth_mm);
    const double left = 1 - std::clamp(f.explained, 0.0, 1.0),
                 left_at_start = 1 - std::clamp(f.judgement.explained, 0.0, 1.0);
    const double unexplained = std::hypot(left, left_at_start * std::pow(left_at_start / doubt, 2));
    const double unexplained_d = unexplained_on_diameter * unexplained,
                 unexplained_h = unexplained_on_depth * unexplained;
    const SpotJudgement& j = f.judgement;
    const double peel =
        peel_share / std::max(j.moved_snr * std::sqrt(j.looks / std::max(j.peel_cells, 1e-9)), 1.0);
    const double shapes = f.odd_shape ? 1 : unseen_shapes;
    const FinalSpot::Spread spread =
        (f.by_parameters.cwiseAbs2() + (shapes * f.by_shapes).cwiseAbs2()).cwiseSqrt();
    const double u_d = std::hypot(std::hypot(geometry.scale, bar, peel),
                                  std::hypot(spread[0], model_diameter), std::hypot(shape_d, unexplained_d));
    // The stripes' period fixes 1 + d / c in units of the card's print: a card told 1 % too large puts the
    // board c / d % too near, and depths go with its size over the board's distance.
    const double camera_mm = std::hypot(camera.x - g.x_mm, camera.y - g.y_mm, camera.z);
    const double bar_h = bar * (1 + camera_mm / model.board_view(g.x_mm, g.y_mm).distance_mm);
    const double u_h = std::hypot(std::hypot(geometry.height, bar_h, peel),
                                  std::hypot(spread[1], model_depth), std::hypot(shape_h, unexplained_h));
    Dent dent;
    dent.kind = g.kind;
    dent.x_mm = g.x_mm, dent.y_mm = g.y_mm;
    dent.diameter_mm = interval(g.diameter_mm, u_d);
    dent.length_mm = interval(g.length_mm, std::hypot(u_d, spread[2]));
    dent.width_mm = interval(g.width_mm, std::hypot(u_d, spread[3]));
    dent.half_diameter_mm = interval(g.half_diameter_mm, std::hypot(u_d, spread[4]));
    dent.angle_deg = g.angle_deg;
    dent.depth_mm = interval(g.depth_mm, u_h);
    dent.max_slope_mrad = interval(1e3 * g.max_slope, std::hypot(u_h, u_d));
    if (f.parametric.max_curvature > 0)
      dent.min_radius_mm = interval(1 / f.parametric.max_curvature, std::hypot(u_h, 2 * u_d, 0.05));
    // How the slope changes is known as well as the slope is, and as the shape is.
    if (f.curvature > 0) dent.bend_radius_mm = interval(1 / f.curvature, std::hypot(u_h, u_d, spread[5]));
    dent.volume_mm3 = interval(g.volume_mm3, std::hypot(u_h, 2 * u_d));
    if (const auto& outer = found[static_cast<std::size_t>(&f - finals.data())].inside_of)
      dent.inside_of = static_cast<int>(*outer);
    dent.agreement = std::clamp(f.explained, 0.0, 1.0);
    if (std::min(f.explained, f.judgement.explained) < least_agreement)
      out.warnings.push_back(
          {code_of(PhotoFinding::poorly_explained),
           "A dent's shape does not explain all that the stripes show inside it: its sizes may be far off. "
           "Photograph it again from nearer or with coarser stripes."});
    dent.outline = outline_polygon(f.map, g);
    constexpr int section_points = 81;
    dent.deepest = g.deepest;
    dent.section = section_through(f.map, g.deepest, g.angle_deg, 0.8 * g.length_mm, section_points);
    dent.cross_section =
        section_through(f.map, g.deepest, g.angle_deg + 90, 0.8 * g.width_mm, section_points);
    constexpr double dense_fringes_px = 0.3;  // cycles per pixel: a whole fringe can hide between samples
    if (f.judgement.fringe_density_px > dense_fringes_px) {
      dent.notes.push_back("stripes run very dense inside: the depth may be off by a fringe");
      out.warnings.push_back(
          {code_of(PhotoFinding::dense_fringes),
           "Inside a dent the stripes run too dense to count surely; go nearer or use a coarser pitch."});
    }
    std::vector<BudgetTerm> budget;
    const auto term = [&](const char* name, const char* note, double d, double h) {
      budget.push_back({name, note, 100 * d, 100 * h});
    };
    term("print scale", "check bar read with a rule", bar, bar_h);
    term("camera, crown, corners", "bundle covariance, scale at the spot", geometry.scale, geometry.scale);
    term("board distance",
         scene.problem->board_corners.empty() ? "tape and stripes" : "board tags, tape and stripes", 0,
         geometry.height_distance);
    term("board tilt and rest of geometry", "bundle covariance", 0,
         std::sqrt(std::max(0.0, geometry.height * geometry.height - geometry.scale * geometry.scale -
                                     geometry.height_distance * geometry.height_distance)));
    term("stripe phase noise", "spots that explain the stripes alike", f.by_parameters[0],
         f.by_parameters[1]);
    term("odd shapes", "free surfaces that do", shapes * f.by_shapes[0], shapes * f.by_shapes[1]);
    term("orange peel", "its slope against the spot's", peel, peel);
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
    map.columns = static_cast<int>((x1 - x0) / map.step_mm) + 1,
    map.rows = static_cast<int>((y1 - y0) / map.step_mm) + 1;
    map.height_mm.assign(static_cast<std::size_t>(map.columns) * map.rows, 0.0F);
    for (const FinalSpot& f : finals)
      for (int r = 0; r < map.rows; ++r)
        for (int c = 0; c < map.columns; ++c)
          map.at(r, c) += static_cast<float>(height_at(f.map, x0 + c * map.step_mm, y0 + r * map.step_mm));
  }
  return out;
}

}  // namespace ripplegauge
