// The last fits of all spots, the free surface about each, and what makes the numbers uncertain: from found
// spots to dents with intervals.
#include "spot_reading.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <optional>
#include <span>

#include "core/least_squares.hpp"
#include "core/parallel_for.hpp"
#include "free_shape.hpp"
#include "geometry_uncertainty.hpp"
#include "may_be_mark.hpp"
#include "relief/spot_geometry.hpp"
#include "ripplegauge/core/findings.hpp"
#include "spot_numbers.hpp"

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
  SpotNumbers by_parameters = SpotNumbers::Zero(), by_shapes = SpotNumbers::Zero();
  bool highlight = false, odd_shape = false;

  std::vector<SpotVector> parts() const { return second ? std::vector{spot, *second} : std::vector{spot}; }
};

/// Some spots where this one lies.
Relief draw(std::span<const SpotVector> spots, const FinalSpot& where, int cells) {
  return draw_at(spots, where.parts(), cells);
}

/// The spread of a spot's numbers over the spots that explain the stripes alike: a few pieces of stripe can
/// be explained by many spots of the family, and no surface about one of them tells of the others.
void spread_by_parameters(int threads, FinalSpot& out) {
  constexpr int cells = spread_cells;
  const SpotNumbers own = numbers_of(out.parametric, draw(out.parts(), out, cells));
  std::vector<SpotNumbers> off(out.alike.size());
  parallel_for(off.size(), threads, [&](std::size_t k) {
    const Relief other = draw(std::span(&out.alike[k].first, 1), out, cells);
    off[k] = off_by(numbers_of(measure_spot(other), other), own);
  });
  SpotNumbers variance = SpotNumbers::Zero();
  for (std::size_t k = 0; k < off.size(); ++k) variance += out.alike[k].second * off[k].cwiseAbs2();
  out.by_parameters = variance.cwiseSqrt();
}

void refine_shape(const PanelScene& scene, const std::vector<SpotVector>& others, FinalSpot& out) {
  const ParametricSpot spot{
      out.parts(),  out.parametric, out.map, out.judgement.explained, explains_all(out.judgement),
      out.highlight};
  out.odd_shape = spot.odd_shape();
  const auto free = free_shape({patch_for_shape(scene, spot, others)}, {spot.parts}, spot, 1, scene.threads);
  if (!free) return;
  out.explained = free->explained;
  out.shape = free->geometry;
  out.map = free->map;
  out.by_shapes = free->spread;
}

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
  // What shapes leave over is no noise: which pixels are looked at decides by per cents, unless all are.
  const std::size_t most_pixels = judged ? 60000 : 5000;
  if (out.second) {
    const SpotSum start{out.spot, *out.second};
    Patch patch = patch_for(scene, start, others, most_pixels);
    if (patch.size() < least_pixels) return;
    if (judged) soften(patch, polish_sum(patch, start, false, a_few));
    const SpotSum plain = polish_sum(patch, start, false), with = polish_sum(patch, plain, true, 12);
    out.highlight = with.cost < plain.cost - highlight_worth;
    const SpotSum& sum = out.highlight ? with : plain;
    if (still_itself(sum.first, out.spot) && still_itself(sum.second, *out.second))
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
  if (!still_itself(fit.spot, out.spot)) fit.spot = out.spot;
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

/// All spots fitted for the last time, each under the others as they were before: on any number of threads
/// the same.
std::vector<FinalSpot> polished(const PanelScene& scene, const std::vector<FoundSpot>& found,
                                const MeasureOptions& options) {
  std::vector<FinalSpot> finals(found.size());
  for (std::size_t i = 0; i < found.size(); ++i) {
    finals[i].spot = found[i].fit.spot;
    finals[i].second = found[i].second;
  }
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
  return finals;
}

/// All that makes a spot's diameter and depth uncertain, relative.
struct Doubts {
  GeometryUncertainty geometry;
  double bar = 0, bar_on_depth = 0;  ///< the check bar's
  double peel = 0;
  ShapeDoubt shape, unexplained, by_line;
  double shapes_share = 1;  ///< of the free surface's spread that counts
  SpotNumbers spread = SpotNumbers::Zero();

  double of_diameter() const {
    return std::hypot(std::hypot(geometry.scale, bar, peel),
                      std::hypot(spread[0], model_diameter, by_line.diameter),
                      std::hypot(shape.diameter, unexplained.diameter));
  }
  double of_depth() const {
    return std::hypot(std::hypot(geometry.height, bar_on_depth, peel),
                      std::hypot(spread[1], model_depth, by_line.depth),
                      std::hypot(shape.depth, unexplained.depth));
  }
};

Doubts doubts_of(const PanelScene& scene, const BundleResult& bundle, const FinalSpot& f,
                 double bar_relative) {
  const PanelModel<double> model(scene.problem->constants, scene.parameters);
  const SpotGeometry& g = f.shape;
  const SpotJudgement& j = f.judgement;
  Doubts d;
  d.geometry = geometry_uncertainty(scene.problem->constants, bundle, g.x_mm, g.y_mm);
  d.bar = bar_relative;
  d.bar_on_depth = bar_relative * depth_error_by_card_size(model, g.x_mm, g.y_mm);
  d.peel = peel_share / std::max(j.moved_snr * std::sqrt(j.looks / std::max(j.peel_cells, 1e-9)), 1.0);
  // The two shapes see the same pixels with different freedom: their difference is what the choice is worth.
  const auto shift = [](double a, double b) { return std::abs(a / b - 1); };
  d.shape = {shift(g.diameter_mm, f.parametric.diameter_mm), shift(g.depth_mm, f.parametric.depth_mm)};
  d.unexplained = unexplained_doubt(f.explained, j.explained);
  d.by_line = line_doubt(*scene.field, f.spot);
  d.shapes_share = f.odd_shape ? 1 : unseen_shapes;
  d.spread = (f.by_parameters.cwiseAbs2() + (d.shapes_share * f.by_shapes).cwiseAbs2()).cwiseSqrt();
  return d;
}

std::vector<BudgetTerm> budget_of(const Doubts& d, const FinalSpot& f, bool board_has_tags) {
  std::vector<BudgetTerm> budget;
  const auto term = [&](const char* name, const char* note, double on_diameter, double on_depth) {
    budget.push_back({name, note, 100 * on_diameter, 100 * on_depth});
  };
  const GeometryUncertainty& g = d.geometry;
  term("print scale", "check bar read with a rule", d.bar, d.bar_on_depth);
  term("camera, crown, corners", "bundle covariance, scale at the spot", g.scale, g.scale);
  term("board distance", board_has_tags ? "board tags, tape and stripes" : "tape and stripes", 0,
       g.height_distance);
  term("board tilt and rest of geometry", "bundle covariance", 0,
       std::sqrt(
           std::max(0.0, g.height * g.height - g.scale * g.scale - g.height_distance * g.height_distance)));
  term("stripe phase noise", "spots that explain the stripes alike", f.by_parameters[0], f.by_parameters[1]);
  term("odd shapes", "free surfaces that do", d.shapes_share * f.by_shapes[0],
       d.shapes_share * f.by_shapes[1]);
  term("orange peel", "its slope against the spot's", d.peel, d.peel);
  add_shape_terms(d.shape, d.unexplained, d.by_line, {model_diameter, model_depth}, budget);
  return budget;
}

/// What a reader must know of how well the stripes tell this dent.
void add_warnings(const FinalSpot& f, const ResidualField& field, Dent& dent,
                  std::vector<Warning>& warnings) {
  if (is_poorly_explained(f.explained, f.judgement.explained))
    warnings.push_back(warning(PhotoFinding::poorly_explained));
  if (auto doubt = may_be_mark(field, f.spot, dent)) warnings.push_back(std::move(*doubt));
  constexpr double dense_fringes_px = 0.3;  // cycles per pixel: a whole fringe can hide between samples
  if (f.judgement.fringe_density_px <= dense_fringes_px) return;
  dent.notes.push_back("stripes run very dense inside: the depth may be off by a fringe");
  warnings.push_back(
      {code_of(PhotoFinding::dense_fringes),
       "Inside a dent the stripes run too dense to count surely; go nearer or use a coarser pitch."});
}

std::vector<std::pair<double, double>> outline_in_photo(const PanelModel<double>& model, const Dent& dent) {
  std::vector<std::pair<double, double>> outline_px;
  for (const PointMm& p : dent.outline) {
    const auto pixel = model.pixel_from_panel(p.x_mm, p.y_mm);
    outline_px.emplace_back(pixel.u_px, pixel.v_px);
  }
  return outline_px;
}

}  // namespace

SpotReadings read_spots(const PanelScene& scene, const BundleResult& bundle,
                        const std::vector<FoundSpot>& found, double bar_length_mm,
                        const MeasureOptions& options) {
  const std::vector<FinalSpot> finals = polished(scene, found, options);
  const PanelModel<double> model(scene.problem->constants, scene.parameters);
  const bool board_has_tags = !scene.problem->board_corners.empty();
  SpotReadings out;
  std::vector<const Relief*> maps;
  for (std::size_t i = 0; i < finals.size(); ++i) {
    const FinalSpot& f = finals[i];
    maps.push_back(&f.map);
    if (!(f.shape.diameter_mm > 0)) continue;
    const Doubts doubts = doubts_of(scene, bundle, f, options.bar_uncertainty_mm / bar_length_mm);
    Dent dent = dent_of({f.shape, f.map, f.parametric.max_curvature, f.curvature, doubts.of_diameter(),
                         doubts.of_depth(), doubts.spread});
    if (found[i].inside_of) dent.inside_of = static_cast<int>(*found[i].inside_of);
    dent.agreement = std::clamp(f.explained, 0.0, 1.0);
    add_warnings(f, *scene.field, dent, out.warnings);
    out.budgets.push_back(budget_of(doubts, f, board_has_tags));
    out.outlines_px.push_back(outline_in_photo(model, dent));
    out.dents.push_back(std::move(dent));
  }
  out.relief = one_map(maps);
  return out;
}

}  // namespace ripplegauge
