#include "joint_spot.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <random>

#include "free_shape.hpp"
#include "geometry_uncertainty.hpp"
#include "ripplegauge/core/least_squares.hpp"
#include "ripplegauge/core/parallel_for.hpp"
#include "ripplegauge/dents/loudness.hpp"
#include "ripplegauge/dents/near_line.hpp"

namespace ripplegauge {
namespace {

using Parts = std::vector<SpotVector>;

constexpr std::size_t fewest_pixels = 500;

/// Half of what no formula knows of (see model_depth) is each photo's own: lens, lift, focus; the other half
/// is the paint's and the program's.
constexpr double own_share = 0.5;

/// A photo in the fit of one spot.
struct Look {
  std::size_t view = 0;
  PanelScene scene;  ///< its parameters as the dent has told so far
  FrameMatrix covariance;
  FrameVector shift = FrameVector::Zero(), expected = FrameVector::Zero();
  Eigen::Vector3d drift = Eigen::Vector3d::Zero();
  Patch patch;
  Eigen::Vector2d gain = Eigen::Vector2d::Zero();  ///< cycles per unit slope at the spot
  double noise_times = 1;                          ///< variance of what the pixels say, over independent ones
};

FrameMatrix frame_covariance(const SetView& view, double x_mm, double y_mm) {
  const FrameGradient by = frame_gradient(view.scene.problem->constants, view.bundle.parameters, x_mm, y_mm);
  FrameMatrix covariance = by * view.bundle.covariance * by.transpose();
  constexpr double place_mm = 0.02;  // what a card that is laid flat by hand leaves open
  const FrameVector own(place_mm, place_mm, std::sqrt(own_share) * model_diameter,
                        std::sqrt(own_share) * model_depth);
  covariance.diagonal() += own.cwiseAbs2();
  return covariance;
}

Patch pixels_round(const PanelScene& scene, const Parts& parts, const std::vector<SpotVector>& others,
                   std::size_t most) {
  if (parts.size() > 1) return patch_for(scene, SpotSum{parts[0], parts[1]}, others, most);
  constexpr double reach = 2;
  return patch_for(scene, parts.front(), others, reach, most);
}

Parts seen_by(const Look& look, const Parts& parts) {
  Parts seen;
  for (const SpotVector& part : parts) seen.push_back(seen_with(look.shift, part));
  return seen;
}

/// Weighs the edges of the stripes as these spots place them, and lets blur move them.
void look_closely(Patch& patch, const Parts& parts) {
  soften(patch, parts);
  Patch explained = patch;
  explain(explained, parts);
  SpotVector nothing_more = parts.front();
  nothing_more[s_height] = 0;
  set_whitening(explained, nothing_more);
  patch.whitening = std::move(explained.whitening);
}

/// Cost under each whitening on one scale: minus a log likelihood.
double whitening_cost(const Patch& patch) {
  double logs = 0;
  for (const float w : patch.whitening) logs += std::log(w);
  return -patch.effective_pixel_share * logs;
}

/// The joint fit of what the looks' patches show.
class JointPolish {
 public:
  JointPolish(std::vector<Look>& looks, int threads) : looks_(looks), threads_(threads) {}

  JointFit run(const Parts& start, std::size_t pixels_a_photo, bool highlight, int iterations,
               double tolerance, bool height_fixed = false) const {
    std::vector<PixelArrays> pixels(looks_.size());
    std::vector<JointView> views(looks_.size());
    for (std::size_t i = 0; i < looks_.size(); ++i) {
      pixels[i] = some_pixels(looks_[i].patch, pixels_a_photo);
      views[i] = {&pixels[i], highlight, looks_[i].shift, looks_[i].expected, looks_[i].covariance.inverse()};
    }
    return fit_jointly(views, start, {height_fixed, iterations, tolerance, threads_});
  }

  /// Lets each photo see where the fit has put its part.
  void take(const JointFit& fit) const {
    for (std::size_t i = 0; i < looks_.size(); ++i)
      looks_[i].shift = fit.shifts[i], looks_[i].drift = fit.drifts[i];
  }

  void look_closely_at(const Parts& parts) const {
    for (Look& look : looks_) look_closely(look.patch, seen_by(look, parts));
  }

 private:
  std::vector<Look>& looks_;
  int threads_;
};

/// A photo's answer and what else it could have meant: the other sign, other fringe orders, other sizes.
std::vector<SpotVector> with_rivals(const SpotVector& spot) {
  std::vector<SpotVector> all{spot};
  const auto add = [&](double height, double size) {
    SpotVector s = spot;
    s[s_height] *= height;
    s[s_log_a] += std::log(size), s[s_log_b] += std::log(size);
    all.push_back(s);
  };
  for (const double height : {-1.0, 0.6, 0.8, 1.25, 1.6}) add(height, 1);
  for (const double size : {0.8, 1.25}) add(size, size), add(-size, size);
  return all;
}

bool same_basin(const Parts& a, const Parts& b) {
  if (a.size() != b.size()) return false;
  for (std::size_t k = 0; k < a.size(); ++k)
    if (a[k][s_height] * b[k][s_height] <= 0 || std::abs(std::log(a[k][s_height] / b[k][s_height])) > 0.08 ||
        std::abs(std::log(mean_radius_mm(a[k]) / mean_radius_mm(b[k]))) > 0.05)
      return false;
  return true;
}

/// The best of all starts under what all photos show.
Parts best_start(std::vector<Look>& looks, const JointRequest& request) {
  std::vector<Parts> starts;
  for (const Parts& start : request.starts) {
    if (start.size() > 1) {
      starts.push_back(start);
      continue;
    }
    for (const SpotVector& s : with_rivals(start.front())) starts.push_back({s});
  }
  const JointPolish polish(looks, request.threads);
  constexpr std::size_t few = 700, more = 4000;
  constexpr int short_fit = 7, longer_fit = 8;
  for (Look& look : looks) look.patch.whitening.assign(look.patch.size(), mean_whitening(look.patch));
  std::vector<JointFit> fits;
  for (const Parts& start : starts) fits.push_back(polish.run(start, few, true, short_fit, 1e-4));
  std::sort(fits.begin(), fits.end(), [](const JointFit& a, const JointFit& b) { return a.cost < b.cost; });
  std::vector<JointFit> contenders;
  constexpr std::size_t most = 4;
  for (const JointFit& f : fits) {
    if (contenders.size() == most) break;
    if (std::none_of(contenders.begin(), contenders.end(),
                     [&](const JointFit& c) { return same_basin(c.spots, f.spots); }))
      contenders.push_back(f);
  }
  Parts best = contenders.front().spots;
  double least = 1e300;
  for (const JointFit& c : contenders) {
    polish.take(c);
    polish.look_closely_at(c.spots);
    const JointFit fit = polish.run(c.spots, more, true, longer_fit, 1e-5);
    double cost = fit.cost;
    for (const Look& look : looks) cost += whitening_cost(look.patch);
    // Ten more parameters are believed where they are paid for.
    constexpr double worth_ten = 45;
    cost += worth_ten * static_cast<double>(fit.spots.size() - 1);
    if (cost < least) least = cost, best = fit.spots;
  }
  return best;
}

/// Puts right what the dent has told of a photo's geometry, as far as the bundle leaves it open; what remains
/// of the shift goes on.
void tie_geometry(Look& look, const SetView& view, double x_mm, double y_mm) {
  const FrameGradient by = frame_gradient(view.scene.problem->constants, view.bundle.parameters, x_mm, y_mm);
  const PanelVector step = -view.bundle.covariance * by.transpose() * look.covariance.inverse() * look.shift;
  look.scene.parameters += step;
  look.expected += by * step;
  look.shift += by * step;
}

/// The photos' information on orange peel, which is the same panel in all of them: looks along one direction
/// of slope see the same cells. Of f of the cells that a photo looks at, ln(1 - f) adds up for each
/// direction, so that no direction is looked at more than once.
struct PeelLooks {
  double squared_snr = 0;    ///< of all photos together
  double counted_twice = 1;  ///< looks of the photos, over those that differ
};

PeelLooks peel_looks(const std::vector<Look>& looks, const std::vector<SpotJudgement>& judgements) {
  Eigen::Matrix2d seen = Eigen::Matrix2d::Zero(), strong = Eigen::Matrix2d::Zero();
  double sum = 0;
  for (std::size_t i = 0; i < looks.size(); ++i) {
    const SpotJudgement& j = judgements[i];
    constexpr double nearly_all = 0.98;
    const double share = std::clamp(j.looks / std::max(j.peel_cells, 1e-9), 1e-6, nearly_all);
    const Eigen::Vector2d way = looks[i].gain.normalized();
    const double weight = -std::log1p(-share), squared = j.moved_snr * j.moved_snr;
    seen += weight * way * way.transpose();
    strong += weight * squared * way * way.transpose();
    sum += share;
  }
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2d> axes(seen);
  PeelLooks out;
  double differ = 0;
  for (int k = 0; k < 2; ++k) {
    const double weight = std::max(axes.eigenvalues()[k], 0.0);
    if (weight < 1e-9) continue;
    const Eigen::Vector2d way = axes.eigenvectors().col(k);
    const double share = -std::expm1(-weight);
    differ += share;
    out.squared_snr += share * way.dot(strong * way) / weight;
  }
  out.counted_twice = std::max(1.0, sum / std::max(differ, 1e-9));
  return out;
}

SpotJudgement judged(const Look& look, const Parts& parts, bool highlight) {
  const Parts seen = seen_by(look, parts);
  SpotFit fit;
  fit.spot = seen.front(), fit.drift = look.drift;
  if (seen.size() == 1) return judge(look.patch, fit, highlight, look.scene.pixels_per_mm);
  SpotSum sum{seen[0], seen[1]};
  sum.drift = look.drift;
  return judge(look.patch, sum, fit, highlight, look.scene.pixels_per_mm);
}

double correlation_of(const Look& look, const Parts& parts, bool highlight) {
  Patch patch = look.patch;
  const Parts seen = seen_by(look, parts);
  SpotFit rest;
  rest.spot = seen.front(), rest.drift = look.drift;
  if (seen.size() > 1) explain(patch, std::span(seen).subspan(1));
  return correlated_noise(patch, rest, highlight);
}

Eigen::Vector2d gain_at(const Patch& patch, double x_mm, double y_mm) {
  const auto nearest = std::min_element(
      patch.pixel.begin(), patch.pixel.end(), [&](const MirrorPixel& a, const MirrorPixel& b) {
        return std::hypot(a.x_mm - x_mm, a.y_mm - y_mm) < std::hypot(b.x_mm - x_mm, b.y_mm - y_mm);
      });
  const PhaseAt phase = patch.board.phase(*nearest, 0, 0, 0);
  return {phase.by_slope_x, phase.by_slope_y};
}

SpotNumbers numbers_of_parts(const Parts& parts, const Parts& where) {
  const Relief map = draw_at(parts, where, spread_cells);
  return numbers_of(measure_spot(map), map);
}

/// Relative spread of the numbers; what of it the photos' geometry makes, and what noise.
struct Spread {
  SpotNumbers all = SpotNumbers::Zero(), noise = SpotNumbers::Zero();
};

/// Mean square over draws of the spots from a normal law about the best, some unknowns held.
SpotNumbers drawn_spread(const Eigen::MatrixXd& hessian, const std::vector<int>& free, const Parts& best,
                         const SpotNumbers& own, int threads) {
  constexpr std::size_t draws = 16;
  const auto n = static_cast<Eigen::Index>(free.size());
  Eigen::MatrixXd precision(n, n);
  for (Eigen::Index i = 0; i < n; ++i)
    for (Eigen::Index k = 0; k < n; ++k)
      precision(i, k) = hessian(free[static_cast<std::size_t>(i)], free[static_cast<std::size_t>(k)]);
  precision.diagonal().array() += 1e-9;
  const Eigen::LLT<Eigen::MatrixXd> root(precision);
  if (root.info() != Eigen::Success) return SpotNumbers::Zero();
  std::mt19937 random(11);
  std::normal_distribution<double> normal;
  std::vector<Eigen::VectorXd> drawn(draws, Eigen::VectorXd(n));
  for (Eigen::VectorXd& z : drawn)
    for (double& value : z) value = normal(random);
  std::vector<SpotNumbers> off(draws);
  parallel_for(draws, threads, [&](std::size_t d) {
    const Eigen::VectorXd step = root.matrixU().solve(drawn[d]);
    Parts parts = best;
    for (Eigen::Index i = 0; i < n; ++i) {
      const int at = free[static_cast<std::size_t>(i)];
      if (at < spot_parameters * static_cast<int>(best.size()))
        parts[static_cast<std::size_t>(at / spot_parameters)][at % spot_parameters] += step[i];
    }
    constexpr double far = 0.5;
    off[d] = off_by(numbers_of_parts(parts, best), own).cwiseMin(far).cwiseMax(-far);
  });
  SpotNumbers variance = SpotNumbers::Zero();
  for (const SpotNumbers& o : off) variance += o.cwiseAbs2() / static_cast<double>(draws);
  return variance;
}

/// Over the spots that explain all photos alike: heights are tried one by one, since a valley bends; what is
/// open at each height, its geometry too, by a normal law.
Spread spread_of(std::vector<Look> looks, const Parts& best, bool highlight, int threads) {
  for (Look& look : looks) look.patch.effective_pixel_share /= look.noise_times;
  const JointPolish polish(looks, threads);
  constexpr std::size_t enough = 3000;
  constexpr int steps_to_settle = 10;
  const JointFit middle = polish.run(best, enough, highlight, steps_to_settle, 1e-5);
  const SpotNumbers own = numbers_of_parts(middle.spots, best);
  const int shapes = spot_parameters * static_cast<int>(best.size());
  const auto indices = [&](int to, bool height) {
    std::vector<int> all;
    for (int i = 0; i < to; ++i)
      if (height || i != s_height) all.push_back(i);
    return all;
  };
  const int everything = static_cast<int>(middle.hessian.rows());
  Spread out;
  out.noise = drawn_spread(middle.hessian, indices(shapes, true), middle.spots, own, threads).cwiseSqrt();
  if (best.size() > 1) {
    out.all = drawn_spread(middle.hessian, indices(everything, true), middle.spots, own, threads).cwiseSqrt();
    return out;
  }
  const Eigen::VectorXd by_height = middle.hessian.ldlt().solve(Eigen::VectorXd::Unit(everything, s_height));
  const double sd = std::sqrt(std::max(by_height[s_height], 0.0)) / std::abs(middle.spots[0][s_height]);
  constexpr double step_sd = 1, negligible = 4;
  constexpr int most_steps = 6;
  const double ratio = 1 + std::clamp(step_sd * sd, 0.001, 0.2);
  std::vector<std::pair<JointFit, SpotNumbers>> alike;
  const auto fitted = [&](Parts at, double step) {
    at[0][s_height] *= step;
    JointFit fit = polish.run(at, enough, highlight, steps_to_settle, 3e-5, true);
    const SpotNumbers off = off_by(numbers_of_parts(fit.spots, best), own);
    alike.emplace_back(fit, off);
    return fit;
  };
  double least = fitted(middle.spots, 1).cost;
  for (const double step : {1 / ratio, ratio}) {
    Parts at = middle.spots;
    double cost = least;
    for (int i = 0; i < most_steps && cost < least + negligible; ++i) {
      const JointFit fit = fitted(at, step);
      at = fit.spots, cost = fit.cost;
      least = std::min(least, cost);
    }
  }
  double weights = 0;
  SpotNumbers variance = SpotNumbers::Zero();
  for (const auto& [fit, off] : alike) {
    const double weight = std::exp(least - fit.cost);
    weights += weight, variance += weight * off.cwiseAbs2();
  }
  variance /= weights;
  variance += drawn_spread(middle.hessian, indices(everything, false), middle.spots, own, threads);
  out.all = variance.cwiseSqrt();
  return out;
}

/// How much likelier (ln) a photo finds what it shows by itself than by the joint answer; `flat`: by no dent.
struct Against {
  double by = 0;
  std::optional<SpotGeometry> alone;
};
Against against(const Look& joint, const Parts& parts, const std::vector<Parts>& starts, bool highlight) {
  std::vector<Look> one{joint};
  one[0].patch.effective_pixel_share /= joint.noise_times;
  const JointPolish polish(one, 1);
  constexpr std::size_t enough = 3000;
  constexpr int iterations = 15;
  const double together = polish.run(parts, enough, highlight, 0, 1).view_costs[0];
  Parts flat = parts;
  for (SpotVector& part : flat) part[s_height] = 0;
  Against out{together - polish.run(flat, enough, highlight, 0, 1).view_costs[0], std::nullopt};
  std::vector<Parts> tried{parts};
  tried.insert(tried.end(), starts.begin(), starts.end());
  for (const Parts& start : tried) {
    const JointFit fit = polish.run(start, enough, highlight, iterations, 1e-5);
    const double by = together - fit.view_costs[0];
    if (by <= out.by) continue;
    out.by = by;
    Parts seen;
    for (const SpotVector& part : fit.spots) seen.push_back(seen_with(fit.shifts[0], part));
    out.alone = measure_spot(draw_at(seen, seen, spread_cells));
  }
  return out;
}

}  // namespace

bool shows_place(const SetView& view, const SpotVector& spot) {
  constexpr std::size_t enough = 2500;
  constexpr double least_share = 0.7;
  const Patch patch = patch_for(view.scene, spot, {}, 1.6, enough);
  if (patch.size() < fewest_pixels) return false;
  const RadiusIn rho(spot);
  constexpr double contour = 1.2;
  std::size_t inside = 0;
  for (const MirrorPixel& p : patch.pixel) inside += rho(p.x_mm, p.y_mm) < contour;
  const double area = std::numbers::pi * std::exp(spot[s_log_a] + spot[s_log_b]) * contour * contour;
  return static_cast<double>(inside) * patch.step_mm * patch.step_mm > least_share * area;
}

std::optional<JointSpot> read_jointly(const std::vector<SetView>& views, const JointRequest& request) {
  Parts widest = request.starts.front();
  for (const Parts& start : request.starts)
    if (half_length_mm(start.front()) > half_length_mm(widest.front())) widest = start;
  std::vector<Look> looks;
  constexpr std::size_t to_search = 6000, to_finish = 8000;
  for (const std::size_t v : request.views) {
    Look look;
    look.view = v;
    look.scene = views[v].scene;
    look.covariance = frame_covariance(views[v], widest[0][s_x], widest[0][s_y]);
    look.patch = pixels_round(look.scene, widest, request.others, to_search);
    if (look.patch.size() >= fewest_pixels) looks.push_back(std::move(look));
  }
  if (looks.empty()) return std::nullopt;
  Parts parts = best_start(looks, request);
  const JointPolish polish(looks, request.threads);
  const auto start_anew = [&] {
    for (Look& look : looks)
      look.patch = pixels_round(look.scene, seen_by(look, parts), request.others, to_finish);
    polish.look_closely_at(parts);
  };
  const auto settle = [&](bool highlight, int iterations) {
    return polish.run(parts, every_pixel, highlight, iterations, 1e-6);
  };
  for (Look& look : looks) look.shift.setZero();
  start_anew();
  constexpr int a_few = 8, until_settled = 30;
  JointFit fit = settle(true, a_few);
  polish.take(fit);
  parts = fit.spots;
  for (Look& look : looks) tie_geometry(look, views[look.view], parts[0][s_x], parts[0][s_y]);
  start_anew();
  fit = settle(false, until_settled);
  const JointFit shiny = polish.run(fit.spots, every_pixel, true, a_few, 1e-6);
  const bool highlight = shiny.cost < fit.cost - highlight_worth * static_cast<double>(looks.size());
  if (highlight) fit = shiny;
  polish.take(fit);
  parts = fit.spots;

  JointSpot out;
  out.parts = parts;
  std::vector<SpotJudgement> judgements;
  for (Look& look : looks) {
    look.gain = gain_at(look.patch, parts[0][s_x], parts[0][s_y]);
    judgements.push_back(judged(look, parts, highlight));
  }
  const PeelLooks peel = peel_looks(looks, judgements);
  for (Look& look : looks) {
    const double correlation = correlation_of(look, parts, highlight);
    const double by_peel = (correlation - 1) / correlation;
    look.noise_times = noise_and_profile * correlation * (1 + by_peel * (peel.counted_twice - 1));
  }
  const double count = static_cast<double>(looks.size());
  double bar_height = 0;
  for (std::size_t i = 0; i < looks.size(); ++i) {
    const Look& look = looks[i];
    const Against a = against(look, parts, request.starts, highlight);
    out.photos.push_back({look.view, judgements[i], look.shift, look.scene.parameters, a.by, a.alone});
    out.explained_at_start += judgements[i].explained / count;
    const PanelModel<double> model(look.scene.problem->constants, look.scene.parameters);
    const auto& camera = model.camera_centre();
    const double camera_mm = std::hypot(camera.x - parts[0][s_x], camera.y - parts[0][s_y], camera.z);
    bar_height += request.bar_relative / count *
                  (1 + camera_mm / model.board_view(parts[0][s_x], parts[0][s_y]).distance_mm);
  }
  out.explained = out.explained_at_start;

  ParametricSpot spot;
  spot.parts = parts;
  spot.map = draw_at(parts, parts, map_cells);
  spot.geometry = measure_spot(spot.map);
  if (!(spot.geometry.diameter_mm > 0)) return std::nullopt;
  spot.explained = out.explained_at_start;
  spot.explains_all = std::all_of(judgements.begin(), judgements.end(), explains_all);
  spot.highlight = highlight;
  const Spread spread = spread_of(looks, parts, highlight, request.threads);
  SpotGeometry shape = spot.geometry;
  Relief map = spot.map;
  SpotNumbers by_shapes = SpotNumbers::Zero();
  if (request.free_surface) {
    std::vector<Patch> patches;
    std::vector<Parts> seen;
    for (const Look& look : looks) {
      patches.push_back(patch_for_shape(look.scene, spot, request.others));
      seen.push_back(seen_by(look, parts));
    }
    if (const auto free = free_shape(std::move(patches), seen, spot, peel.counted_twice, request.threads)) {
      shape = free->geometry, map = free->map;
      by_shapes = (spot.odd_shape() ? 1 : unseen_shapes) * free->spread;
      out.explained = free->explained;
    }
  }
  const auto change = [](double a, double b) { return std::abs(a / b - 1); };
  const double shape_d = change(shape.diameter_mm, spot.geometry.diameter_mm),
               shape_h = change(shape.depth_mm, spot.geometry.depth_mm);
  const ShapeDoubt unexplained = unexplained_doubt(out.explained, out.explained_at_start);
  const ShapeDoubt by_line = line_doubt(share_on_line(*looks.front().scene.field, parts.front()));
  const double peel_u = peel_share / std::sqrt(std::max(peel.squared_snr, 1.0));
  const double common = std::sqrt(1 - own_share);
  out.answer.shape = shape, out.answer.map = map;
  out.answer.largest_curvature = spot.geometry.max_curvature;
  out.answer.averaged_curvature = averaged_curvature(map, shape, bend_length_mm);
  out.answer.spread = (spread.all.cwiseAbs2() + by_shapes.cwiseAbs2()).cwiseSqrt();
  out.answer.u_diameter = std::hypot(std::hypot(request.bar_relative, peel_u, out.answer.spread[0]),
                                     std::hypot(common * model_diameter, by_line.diameter),
                                     std::hypot(shape_d, unexplained.diameter));
  out.answer.u_depth =
      std::hypot(std::hypot(bar_height, peel_u, out.answer.spread[1]),
                 std::hypot(common * model_depth, by_line.depth), std::hypot(shape_h, unexplained.depth));
  const auto term = [&](const char* name, const char* note, double d, double h) {
    out.budget.push_back({name, note, 100 * d, 100 * h});
  };
  const auto rest = [&](int number) {
    return std::sqrt(
        std::max(0.0, spread.all[number] * spread.all[number] - spread.noise[number] * spread.noise[number]));
  };
  term("print scale", "check bar read with a rule", request.bar_relative, bar_height);
  term("geometry of the photos", "each photo's own bundle, weighed by what the dent says", rest(0), rest(1));
  term("stripe phase noise", "spots that explain all photos alike", spread.noise[0], spread.noise[1]);
  term("odd shapes", "free surfaces that do", by_shapes[0], by_shapes[1]);
  term("orange peel", "its slope against the spot's; the same in all photos", peel_u, peel_u);
  add_shape_terms({shape_d, shape_h}, unexplained, by_line, {common * model_diameter, common * model_depth},
                  out.budget);
  return out;
}

}  // namespace ripplegauge
