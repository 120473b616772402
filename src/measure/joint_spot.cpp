// One dent from all photos of a set: pixels of each, the best of all photos' starts, a fit of all to it, what
// each photo's geometry learns from that, and the fit once more.
#include "joint_spot.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "core/least_squares.hpp"
#include "dents/loudness.hpp"
#include "free_shape.hpp"
#include "geometry_uncertainty.hpp"
#include "joint_doubt.hpp"
#include "joint_looks.hpp"

namespace ripplegauge {
namespace {

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
Parts best_start(std::vector<SetLook>& looks, const JointRequest& request) {
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
  for (SetLook& look : looks) look.patch.whitening.assign(look.patch.size(), mean_whitening(look.patch));
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
    for (const SetLook& look : looks) cost += whitening_cost(look.patch);
    // Ten more parameters are believed where they are paid for.
    constexpr double worth_ten = 45;
    cost += worth_ten * static_cast<double>(fit.spots.size() - 1);
    if (cost < least) least = cost, best = fit.spots;
  }
  return best;
}

/// The photos that show enough of a dent as wide as the widest that any of them says.
std::vector<SetLook> looks_at(const std::vector<SetView>& views, const JointRequest& request,
                              const Parts& widest) {
  constexpr std::size_t to_search = 6000;
  std::vector<SetLook> looks;
  for (const std::size_t v : request.views) {
    SetLook look;
    look.view = v;
    look.scene = views[v].scene;
    look.covariance = frame_covariance(views[v], widest[0][s_x], widest[0][s_y]);
    look.patch = pixels_round(look.scene, widest, request.others, to_search);
    if (look.patch.size() >= fewest_joint_pixels) looks.push_back(std::move(look));
  }
  return looks;
}

/// Fits the dent to all looks, lets their geometry learn from it, and fits it once more. Whether the metallic
/// highlight pays.
bool settle(std::vector<SetLook>& looks, const std::vector<SetView>& views, const JointRequest& request,
            Parts& parts) {
  constexpr std::size_t to_finish = 8000;
  constexpr int a_few = 8, until_settled = 30;
  const JointPolish polish(looks, request.threads);
  const auto start_anew = [&] {
    for (SetLook& look : looks)
      look.patch = pixels_round(look.scene, seen_by(look, parts), request.others, to_finish);
    polish.look_closely_at(parts);
  };
  const auto fitted = [&](bool highlight, int iterations) {
    return polish.run(parts, every_pixel, highlight, iterations, 1e-6);
  };
  const auto take = [&](const JointFit& fit) {
    polish.take(fit);
    parts = fit.spots;
  };
  for (SetLook& look : looks) look.shift.setZero();
  start_anew();
  take(fitted(true, a_few));
  for (SetLook& look : looks) tie_geometry(look, views[look.view], parts[0][s_x], parts[0][s_y]);
  start_anew();
  const JointFit plain = fitted(false, until_settled);
  const JointFit shiny = polish.run(plain.spots, every_pixel, true, a_few, 1e-6);
  const bool highlight = shiny.cost < plain.cost - highlight_worth * static_cast<double>(looks.size());
  take(highlight ? shiny : plain);
  return highlight;
}

/// How each photo judges the joint answer; its own gain at the dent is told on the way.
std::vector<SpotJudgement> judgements_of(std::vector<SetLook>& looks, const Parts& parts, bool highlight) {
  std::vector<SpotJudgement> judgements;
  for (SetLook& look : looks) {
    look.gain = gain_at(look.patch, parts[0][s_x], parts[0][s_y]);
    judgements.push_back(judged_by_look(look, parts, highlight));
  }
  return judgements;
}

/// Noise that neighbours share counts for more; peel that the photos share for more still.
void set_noise(std::vector<SetLook>& looks, const Parts& parts, bool highlight, double counted_twice) {
  for (SetLook& look : looks) {
    const double correlation = correlation_of(look, parts, highlight);
    const double by_peel = (correlation - 1) / correlation;
    look.noise_times = noise_and_profile * correlation * (1 + by_peel * (counted_twice - 1));
  }
}

/// The dent's shape: of the family, and let go where that is asked for.
struct JointShape {
  ParametricSpot parametric;
  SpotGeometry geometry;
  Relief map;
  SpotNumbers by_shapes = SpotNumbers::Zero();
};

std::optional<JointShape> shape_of(const std::vector<SetLook>& looks, const JointRequest& request,
                                   const std::vector<SpotJudgement>& judgements, bool highlight,
                                   double counted_twice, JointSpot& out) {
  JointShape shape;
  ParametricSpot& spot = shape.parametric;
  spot.parts = out.parts;
  spot.map = shape.map = draw_at(out.parts, out.parts, map_cells);
  spot.geometry = shape.geometry = measure_spot(spot.map);
  if (!(spot.geometry.diameter_mm > 0)) return std::nullopt;
  spot.explained = out.explained = out.explained_at_start;
  spot.explains_all = std::all_of(judgements.begin(), judgements.end(), explains_all);
  spot.highlight = highlight;
  if (!request.free_surface) return shape;
  std::vector<Patch> patches;
  std::vector<Parts> seen;
  for (const SetLook& look : looks) {
    patches.push_back(patch_for_shape(look.scene, spot, request.others));
    seen.push_back(seen_by(look, out.parts));
  }
  const auto free = free_shape(std::move(patches), seen, spot, counted_twice, request.threads);
  if (!free) return shape;
  shape.geometry = free->geometry;
  shape.map = free->map;
  shape.by_shapes = (spot.odd_shape() ? 1 : unseen_shapes) * free->spread;
  out.explained = free->explained;
  return shape;
}

/// The answer's numbers, their uncertainties and where those come from.
void state(const JointShape& shape, const Spread& spread, double bar_relative, double bar_height,
           double peel_snr2, const ShapeDoubt& by_line, JointSpot& out) {
  const auto change = [](double a, double b) { return std::abs(a / b - 1); };
  const double shape_d = change(shape.geometry.diameter_mm, shape.parametric.geometry.diameter_mm),
               shape_h = change(shape.geometry.depth_mm, shape.parametric.geometry.depth_mm);
  const ShapeDoubt unexplained = unexplained_doubt(out.explained, out.explained_at_start);
  // The pixels' noise has peel in it already, shared as the photos share it: what is more than that counts.
  const double peel_u = peel_share / std::sqrt(std::max(peel_snr2, 1.0));
  const auto beyond = [&](double noise) { return std::sqrt(std::max(peel_u * peel_u - noise * noise, 0.0)); };
  const ShapeDoubt peel{beyond(spread.noise[0]), beyond(spread.noise[1])};
  const double common = std::sqrt(1 - own_share);
  SpotAnswer& answer = out.answer;
  answer.shape = shape.geometry;
  answer.map = shape.map;
  answer.largest_curvature = shape.parametric.geometry.max_curvature;
  answer.averaged_curvature = averaged_curvature(shape.map, shape.geometry, bend_length_mm);
  answer.spread = (spread.all.cwiseAbs2() + shape.by_shapes.cwiseAbs2()).cwiseSqrt();
  answer.u_diameter = std::hypot(std::hypot(bar_relative, peel.diameter, answer.spread[0]),
                                 std::hypot(common * model_diameter, by_line.diameter),
                                 std::hypot(shape_d, unexplained.diameter));
  answer.u_depth =
      std::hypot(std::hypot(bar_height, peel.depth, answer.spread[1]),
                 std::hypot(common * model_depth, by_line.depth), std::hypot(shape_h, unexplained.depth));
  const auto term = [&](const char* name, const char* note, double d, double h) {
    out.budget.push_back({name, note, 100 * d, 100 * h});
  };
  const auto rest = [&](int number) {
    return std::sqrt(
        std::max(0.0, spread.all[number] * spread.all[number] - spread.noise[number] * spread.noise[number]));
  };
  term("print scale", "check bar read with a rule", bar_relative, bar_height);
  term("geometry of the photos", "each photo's own bundle, weighed by what the dent says", rest(0), rest(1));
  term("stripe phase noise", "spots that explain all photos alike", spread.noise[0], spread.noise[1]);
  term("odd shapes", "free surfaces that do", shape.by_shapes[0], shape.by_shapes[1]);
  term("orange peel", "the same in all photos; beyond what the phase noise has of it", peel.diameter,
       peel.depth);
  add_shape_terms({shape_d, shape_h}, unexplained, by_line, {common * model_diameter, common * model_depth},
                  out.budget);
}

}  // namespace

bool shows_place(const SetView& view, const SpotVector& spot) {
  constexpr std::size_t enough = 2500;
  constexpr double least_share = 0.7;
  const Patch patch = patch_for(view.scene, spot, {}, 1.6, enough);
  if (patch.size() < fewest_joint_pixels) return false;
  const RadiusIn rho(spot);
  constexpr double contour = 1.2;
  std::size_t inside = 0;
  for (const MirrorPixel& p : patch.pixel) inside += rho(p.x_mm, p.y_mm) < contour;
  const double area = std::numbers::pi * std::exp(spot[s_log_a] + spot[s_log_b]) * contour * contour;
  return static_cast<double>(inside) * patch.step_mm * patch.step_mm > least_share * area;
}

std::optional<JointSpot> read_jointly(const std::vector<SetView>& views, const JointRequest& request) {
  const auto longer = [](const Parts& a, const Parts& b) {
    return half_length_mm(a.front()) < half_length_mm(b.front());
  };
  const Parts& widest = *std::max_element(request.starts.begin(), request.starts.end(), longer);
  std::vector<SetLook> looks = looks_at(views, request, widest);
  if (looks.empty()) return std::nullopt;
  JointSpot out;
  out.parts = best_start(looks, request);
  const bool highlight = settle(looks, views, request, out.parts);
  const std::vector<SpotJudgement> judgements = judgements_of(looks, out.parts, highlight);
  const PeelLooks peel = peel_looks(looks, judgements);
  set_noise(looks, out.parts, highlight, peel.counted_twice);
  const double count = static_cast<double>(looks.size());
  double bar_height = 0;
  for (std::size_t i = 0; i < looks.size(); ++i) {
    const SetLook& look = looks[i];
    const Against a = against(look, out.parts, request.starts, highlight);
    out.photos.push_back({look.view, judgements[i], look.shift, look.scene.parameters, a.by, a.alone});
    out.explained_at_start += judgements[i].explained / count;
    const PanelModel<double> model(look.scene.problem->constants, look.scene.parameters);
    bar_height +=
        request.bar_relative / count * depth_error_by_card_size(model, out.parts[0][s_x], out.parts[0][s_y]);
  }
  const auto shape = shape_of(looks, request, judgements, highlight, peel.counted_twice, out);
  if (!shape) return std::nullopt;
  const Spread spread = spread_of(looks, out.parts, highlight, request.threads);
  state(*shape, spread, request.bar_relative, bar_height, peel.squared_snr,
        line_doubt(*looks.front().scene.field, out.parts.front()), out);
  return out;
}

}  // namespace ripplegauge
