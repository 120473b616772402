#include "ripplegauge/dents/spot_search.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <initializer_list>
#include <iterator>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "nested_spots.hpp"
#include "ripplegauge/core/least_squares.hpp"
#include "ripplegauge/core/parallel_for.hpp"
#include "ripplegauge/core/quantile.hpp"
#include "ripplegauge/dents/loudness.hpp"
#include "ripplegauge/dents/near_line.hpp"
#include "ripplegauge/relief/light_fit.hpp"
#include "ripplegauge/relief/spot_geometry.hpp"
#include "ripplegauge/relief/surface_fit.hpp"
#include "spot_problem.hpp"
#include "spot_sum.hpp"

namespace ripplegauge {
namespace {

constexpr double largest_half_mm = 65;

PatchRequest request_for(const PanelScene& scene, double x, double y, double half, std::size_t max_pixels) {
  PatchRequest request;
  request.x_mm = x, request.y_mm = y;
  request.half_mm = std::min(half, largest_half_mm);
  request.step_mm =
      std::max(1 / scene.pixels_per_mm, 2 * request.half_mm / std::sqrt(static_cast<double>(max_pixels)));
  request.max_pixels = max_pixels;
  request.threads = scene.threads;
  return request;
}

/// Half the side of a patch round something this long: `reach` times it, or `periods` of undisturbed stripes
/// beyond it.
double half_round(const PanelScene& scene, double longest_mm, double reach, double periods = 0.8) {
  return std::max(reach * longest_mm, longest_mm + periods * scene.field->period_mm);
}

double longest_of(const Outline& o) { return o.radius_mm * std::sqrt(o.elongation); }

std::vector<Disc> other_candidates(const std::vector<Candidate>& candidates, const Outline& self) {
  std::vector<Disc> discs;
  for (const Candidate& other : candidates) {
    const double distance = std::hypot(other.outline.x_mm - self.x_mm, other.outline.y_mm - self.y_mm);
    const double longest = longest_of(other.outline);
    if (distance > 0.8 * std::max(other.outline.radius_mm, self.radius_mm) && distance > 1e-6)
      discs.push_back(
          {other.outline.x_mm, other.outline.y_mm, std::min(longest, distance - 0.5 * self.radius_mm)});
  }
  std::erase_if(discs, [](const Disc& d) { return d.radius_mm <= 0; });
  return discs;
}

/// Share of an outline's ellipse where stripes are seen.
double seen_share(const ResidualField& field, const Outline& o) {
  const double e = std::sqrt(o.elongation), c = std::cos(o.angle_rad), s = std::sin(o.angle_rad);
  int seen = 0, all = 0;
  for (int i = -8; i <= 8; ++i)
    for (int j = -8; j <= 8; ++j) {
      const double u = i / 8.0, v = j / 8.0;
      if (u * u + v * v > 1) continue;
      const double a = u * o.radius_mm * e, b = v * o.radius_mm / e;
      const int row = static_cast<int>(std::lround(field.grid.row_of(o.y_mm + s * a + c * b)));
      const int column = static_cast<int>(std::lround(field.grid.column_of(o.x_mm + c * a - s * b)));
      ++all;
      seen += field.grid.contains(row, column) && field.valid.at<uchar>(row, column) != 0;
    }
  return static_cast<double>(seen) / all;
}

/// How many cells of orange peel a spot covers.
double peel_cells(double diameter_mm, double peel_cell_mm) {
  return 0.25 * std::numbers::pi * std::pow(diameter_mm / peel_cell_mm, 2);
}

/// Root mean square move of the stripes inside a spot, over their jitter, times the root of the peel cells
/// there.
double moved_snr(const Patch& patch, const SpotVector& spot, double mean_square_cycles) {
  return std::sqrt(peel_cells(2 * mean_radius_mm(spot), patch.peel_cell_mm) * mean_square_cycles) /
         std::max(patch.edge_jitter_cycles, 1e-4);
}

double moved_snr(const Patch& patch, const SpotVector& spot) {
  constexpr std::size_t enough = 2000;  // a spot is smooth
  const std::size_t stride = std::max<std::size_t>(patch.size() / enough, 1);
  const SpotShape<double> shape(spot);
  const RadiusIn rho(spot);
  double moved = 0;
  std::size_t inside = 0;
  for (std::size_t i = 0; i < patch.size(); i += stride) {
    const MirrorPixel& p = patch.pixel[i];
    if (zone_of(rho(p.x_mm, p.y_mm)) != Zone::inside) continue;
    const auto v = shape.at(p.x_mm, p.y_mm);
    moved += std::pow(
        patch.board.phase(p, v.z, v.slope_x, v.slope_y).phase - patch.board.phase(p, 0, 0, 0).phase, 2);
    ++inside;
  }
  return inside == 0 ? 0 : moved_snr(patch, spot, moved / static_cast<double>(inside));
}

SpotVector ellipse_of(const Outline& outline) {
  SpotVector flat = SpotVector::Zero();
  const double half = 0.5 * std::log(outline.elongation);
  flat[s_x] = outline.x_mm, flat[s_y] = outline.y_mm, flat[s_angle] = outline.angle_rad;
  flat[s_log_a] = std::log(outline.radius_mm) + half, flat[s_log_b] = std::log(outline.radius_mm) - half;
  return flat;
}

/// The robust chi square of each pixel of a patch, with no more explained than is already.
std::vector<double> undisturbed_costs(const Patch& patch) {
  return robust_costs(whitened_residuals(patch, SpotVector::Zero(), Eigen::Vector3d::Zero(), false));
}

Loudness loudness_in(const Patch& patch, const std::vector<double>& costs, const SpotVector& ellipse) {
  return loudness(ellipse, costs, [&](std::size_t i) {
    return std::pair<double, double>(patch.pixel[i].x_mm, patch.pixel[i].y_mm);
  });
}

/// How far a spot must move the stripes (SpotJudgement::moved_snr) to be no orange peel: the louder, the
/// less; geometrically between the two.
double needed_moved_snr(const SpotJudgement& j, const Acceptance& acceptance) {
  const double excess = j.disturbed_level - j.quiet_level;
  const double loudness =
      std::log(excess / acceptance.peel_excess) / std::log(acceptance.loud_excess / acceptance.peel_excess);
  return acceptance.min_moved_snr *
         std::pow(acceptance.min_loud_moved_snr / acceptance.min_moved_snr, std::clamp(loudness, 0.0, 1.0));
}

/// Louder than peel gets: it is real slope, but whitening knows it, so that it cannot disturb the stripes
/// much beyond what they show everywhere.
bool loud(const SpotJudgement& j, const Acceptance& acceptance) {
  return j.disturbed_level - j.quiet_level >= acceptance.min_excess;
}

/// A whisper, but over so wide an area of so quiet a panel that it adds up.
bool wide_and_faint(const SpotJudgement& j, const Acceptance& acceptance) {
  return (j.disturbed_level - j.quiet_level) * j.peel_cells > acceptance.min_summed_excess &&
         j.disturbed_level > acceptance.min_faint_ratio * j.quiet_level;
}

bool louder_than_peel(const SpotJudgement& j, const Acceptance& acceptance) {
  return (wide_and_faint(j, acceptance) && j.moved_snr > acceptance.min_faint_moved_snr) ||
         (loud(j, acceptance) && j.moved_snr >= needed_moved_snr(j, acceptance));
}

/// Of what a spot must show in the end, an outline or a rough fit is but roughly where the spot is: two
/// thirds is enough.
constexpr double roughly = 2.0 / 3;

/// Whether a rough fit could still become a believable spot: it may move the stripes by but that share of
/// what it will in the end. What is quiet is told by the outline's ring or the fit's, whichever is quieter.
/// While edges are whitened where they would be without a spot, a third of its excess or more is seen.
WorthFinishing worth_finishing(const Patch& patch, const std::vector<double>& costs, const Outline& outline,
                               const Acceptance& acceptance) {
  const double quiet = loudness_in(patch, costs, ellipse_of(outline)).around;
  constexpr double least_seen = 1.0 / 3;
  return [&patch, &costs, &acceptance, quiet](const SpotVector& spot, double share) {
    const double peel_slope = std::max(patch.edge_jitter_cycles, 1e-4) / patch.gain;
    if (2 * half_width_mm(spot) <= share * acceptance.min_width_mm) return false;
    if (steepest_slope(spot) <=
        share * std::max(acceptance.min_slope, acceptance.min_slope_over_peel * peel_slope))
      return false;
    const Loudness seen = loudness_in(patch, costs, spot);
    SpotJudgement hoped;
    hoped.quiet_level = std::min(seen.around, quiet);
    hoped.disturbed_level = hoped.quiet_level + (seen.inside - hoped.quiet_level) / least_seen;
    hoped.peel_cells = peel_cells(2 * mean_radius_mm(spot), patch.peel_cell_mm);
    hoped.moved_snr = moved_snr(patch, spot) / share;
    return louder_than_peel(hoped, acceptance);
  };
}

/// How loud an outline is, all in all: an excess may be high over few cells of peel or low over many.
double summed_excess(const Patch& patch, const std::vector<double>& costs, const Outline& outline) {
  return loudness_in(patch, costs, ellipse_of(outline)).excess() *
         peel_cells(2 * outline.radius_mm, patch.peel_cell_mm);
}

/// A square of panel that was looked at, and the slope below which a spot cannot be seen there.
struct LookedAt {
  double x_mm, y_mm, half_mm, unseen_slope;
};

LookedAt looked_at(const Patch& patch) {
  constexpr double drowned = 0.05;  // in orange peel, of which a patch has many cells
  return {patch.x_mm, patch.y_mm, patch.half_mm,
          drowned * std::max(patch.edge_jitter_cycles, 1e-4) / std::max(patch.gain, 1e-9)};
}

/// Whether a spot bends what is seen anywhere in a square: by its slope as far out as the square begins.
bool reaches(const SpotVector& spot, const LookedAt& square) {
  const double beyond_x = std::max(std::abs(spot[s_x] - square.x_mm) - square.half_mm, 0.0);
  const double beyond_y = std::max(std::abs(spot[s_y] - square.y_mm) - square.half_mm, 0.0);
  const double away = std::hypot(beyond_x, beyond_y);
  constexpr double foot = 1.2;  // of the 10 % contour, beyond which slopes fade
  if (away < foot * half_length_mm(spot)) return true;
  const SpotShape<double> shape(spot);
  const double angle = outline_of(spot).angle_rad, c = std::cos(angle), s = std::sin(angle);
  const auto seen = [&](double along) {
    const auto v = shape.at(spot[s_x] + along * c, spot[s_y] + along * s);
    return std::hypot(v.slope_x, v.slope_y) > square.unseen_slope;
  };
  return seen(away) || seen(-away);
}

struct Attempt {
  SpotFit fit;
  SpotJudgement judgement;
  bool usable = false;
  bool moves_little = false;          ///< what it explains is no more than peel: not worth another try
  std::vector<LookedAt> looked_at{};  ///< what it depends on
};

Patch explained_patch(const PanelScene& scene, const PatchRequest& request,
                      const std::vector<Disc>& leave_out, const std::vector<SpotVector>& explained) {
  Patch patch = make_patch(*scene.grey, *scene.problem, scene.parameters, *scene.field, request, leave_out,
                           scene.pixels_per_mm);
  if (patch.size() == 0) return patch;
  std::vector<SpotVector> near;
  std::copy_if(explained.begin(), explained.end(), std::back_inserter(near),
               [square = looked_at(patch)](const SpotVector& spot) { return reaches(spot, square); });
  if (!near.empty()) explain(patch, near);
  return patch;
}

/// Cost of a fit under the patch's whitening, on a scale that all whitenings share: minus a log likelihood.
double log_cost(const Patch& patch, const SpotFit& fit) {
  double logs = 0;
  for (const float w : patch.whitening) logs += std::log(w);
  return fit.cost - patch.effective_pixel_share * logs;
}

constexpr std::size_t enough_to_judge = 4000;  // pixels

/// By how much one spot must beat another, in log likelihood, to be surely the better one: odds of e^10, by
/// as many samples as there are independent ones.
double surely(const Patch& patch, const SpotFit& fit, bool highlight) {
  const double block_mm = std::max({0.8, 0.25 * mean_radius_mm(fit.spot), patch.peel_cell_mm});
  const PixelArrays pixels = some_pixels(patch);
  const LightFit light = light_under(pixels, std::span(&fit.spot, 1), fit.drift, highlight);
  constexpr double everywhere_mm = 1e3, odds = 10;
  return odds * score_inflation(pixels, light, block_mm, 0, 0, 0, everywhere_mm) *
         patch.effective_pixel_share;
}

/// Weighs the edges of a spot's stripes as they should be, and lets blur move them.
void look_closely(Patch& patch, const SpotVector& spot) {
  soften(patch, spot);
  set_whitening(patch, spot);
}

/// The search's best or one of its rivals, whichever explains the stripes best when each is looked at
/// closely. Leaves the patch so for it.
SpotFit settle_rivals(Patch& patch, const SpotFit& search) {
  if (search.rivals.empty()) {
    look_closely(patch, search.spot);
    return search;
  }
  std::vector<SpotFit::Rival> all{{search.spot, search.search_cost}};
  all.insert(all.end(), search.rivals.begin(), search.rivals.end());
  constexpr int iterations = 8;
  constexpr bool highlight =
      true;  // metallic paint's would decide for the wrong one; elsewhere it hardly matters
  SpotFit best;
  double least = 1e300, least_of_sign[2] = {1e300, 1e300};
  for (const SpotFit::Rival& r : all) {
    look_closely(patch, r.spot);
    SpotFit fit = polish_spot(some_pixels(patch, enough_to_judge), r.spot, highlight, iterations);
    const double cost = log_cost(patch, fit);
    double& of_sign = least_of_sign[r.spot[s_height] > 0];
    of_sign = std::min(of_sign, cost);
    if (cost >= least) continue;
    least = cost, best = fit;
    best.search_cost = r.cost;
  }
  look_closely(patch, best.spot);
  best.opposite_cost =
      search.spot[s_height] * best.spot[s_height] > 0 ? search.opposite_cost : search.search_cost;
  const double gap = std::abs(least_of_sign[0] - least_of_sign[1]);
  best.sign_settled = gap < 1e299 && gap > surely(patch, best, highlight);
  return best;
}

/// Polishes what a search found, where it explains anything at all and is nearly what must be shown, and
/// judges it.
Attempt finish_attempt(const PanelScene& scene, Patch& patch, const SpotFit& search,
                       const Acceptance& acceptance) {
  Attempt result;
  if (search.search_cost >= 1e300) return result;
  // A start that explains next to nothing is not worth finishing.
  constexpr double hopeless = 0.35, all_but = 0.9;
  bool highlight = false;
  result.fit = settle_rivals(patch, search);
  result.judgement = judge(patch, result.fit, highlight, scene.pixels_per_mm);
  if (result.judgement.explained > hopeless) {
    const std::vector<double> costs = undisturbed_costs(patch);
    result.moves_little =
        !worth_finishing(patch, costs, outline_of(result.fit.spot), acceptance)(result.fit.spot, all_but);
  }
  if (result.judgement.explained > hopeless && !result.moves_little) {
    result.fit = polish_with_fitting_light(patch, result.fit, highlight, 14, enough_to_judge);
    result.judgement = judge(patch, result.fit, highlight, scene.pixels_per_mm);
  }
  result.usable = true;
  return result;
}

/// What a fit has to show for itself: the share it explains, less what is as loud around it.
double credit(const SpotJudgement& j) {
  return j.explained - j.quiet_level / std::max(j.disturbed_level, 1e-9);
}

Attempt attempt(const PanelScene& scene, const Outline& rough, const std::vector<Disc>& leave_out,
                const std::vector<SpotVector>& explained, const Acceptance& acceptance) {
  Attempt result;
  const double longest = longest_of(rough);
  Patch patch = explained_patch(
      scene, request_for(scene, rough.x_mm, rough.y_mm, half_round(scene, longest, 1.7, 0.9), 5000),
      leave_out, explained);
  result.looked_at.push_back(looked_at(patch));
  if (patch.size() < 600) return result;
  // What is as quiet as its ring can be sharpened to nothing; what is quieter may lie beside what it is
  // about.
  constexpr double barely = 1.0 / 3;
  const std::vector<double> first_costs = undisturbed_costs(patch);
  const double rough_excess = summed_excess(patch, first_costs, rough);
  if (std::abs(rough_excess) < barely * acceptance.min_summed_excess) return result;
  Outline outline = sharpen_outline(patch, rough);
  const double moved = std::hypot(outline.x_mm - rough.x_mm, outline.y_mm - rough.y_mm);
  // Where light changes nearby, the split can fall between bright and dark panel instead.
  const bool lost = rough_excess > 0 && summed_excess(patch, first_costs, outline) <= 0;
  if (!(outline.radius_mm > 0.7 && outline.radius_mm < 45 && outline.elongation < 9) ||
      moved > 1.2 * longest || lost)
    outline = rough;
  patch = explained_patch(
      scene,
      request_for(scene, outline.x_mm, outline.y_mm, half_round(scene, longest_of(outline), 1.6), 8000),
      leave_out, explained);
  result.looked_at.push_back(looked_at(patch));
  if (patch.size() < 600) return result;
  const std::vector<double> costs = undisturbed_costs(patch);
  if (summed_excess(patch, costs, outline) <= roughly * acceptance.min_summed_excess) return result;
  SpotFit search =
      search_spot(patch, outline, {worth_finishing(patch, costs, outline, acceptance), scene.threads});
  if (outline.radius_mm < 0.6 * rough.radius_mm || outline.radius_mm > 1.5 * rough.radius_mm) {
    // The two outlines disagree: let the rough one have its starts, too.
    Outline other = outline;
    other.radius_mm = 0.8 * rough.radius_mm;
    other.x_mm = rough.x_mm, other.y_mm = rough.y_mm;
    const SpotFit second =
        search_spot(patch, other, {worth_finishing(patch, costs, other, acceptance), scene.threads, 0.5});
    if (second.search_cost < search.search_cost) search = second;
  }
  Attempt finished = finish_attempt(scene, patch, search, acceptance);
  finished.looked_at = std::move(result.looked_at);
  return finished;
}

/// For a disturbance that is surely there but that the outline's own starts do not explain: its region may be
/// several times the spot (a steep rim is loud far out), its place and direction only roughly right.
Attempt wide_attempt(const PanelScene& scene, const Outline& rough, const std::vector<Disc>& leave_out,
                     const std::vector<SpotVector>& explained, const Acceptance& acceptance,
                     std::initializer_list<double> scales = {1.0, 0.6, 0.35}) {
  Attempt best;
  for (const double scale : scales) {
    Outline outline = rough;
    outline.radius_mm = scale * rough.radius_mm;
    if (outline.radius_mm < 1.5) break;
    Patch patch = explained_patch(
        scene,
        request_for(scene, outline.x_mm, outline.y_mm, half_round(scene, longest_of(outline), 1.7), 8000),
        leave_out, explained);
    if (patch.size() < 600) continue;
    const std::vector<double> costs = undisturbed_costs(patch);
    const SpotFit search = search_spot_widely(
        patch, outline, {worth_finishing(patch, costs, outline, acceptance), scene.threads});
    const Attempt a = finish_attempt(scene, patch, search, acceptance);
    if (a.usable && (!best.usable || credit(a.judgement) > credit(best.judgement))) best = a;
    constexpr double found = 0.9;
    if (best.usable && credit(best.judgement) > found) break;
  }
  return best;
}

double near_paper_mm(const PanelScene& scene, double x, double y) {
  double nearest = 1e9;
  for (const RectangleMm& paper : scene.problem->card.paper) {
    const double s = scene.problem->card_scale;
    const double dx = std::max({paper.x0_mm * s - x, 0.0, x - paper.x1_mm * s});
    const double dy = std::max({paper.y0_mm * s - y, 0.0, y - paper.y1_mm * s});
    nearest = std::min(nearest, std::hypot(dx, dy));
  }
  return nearest;
}

/// Share of directions in which, on this ellipse, there are stripes well inside the board's reflection, or
/// the card, or a body line.
double ring_seen(const PanelScene& scene, const Outline& o) {
  const ResidualField& f = *scene.field;
  constexpr int directions = 24;
  const double e = std::sqrt(o.elongation), c = std::cos(o.angle_rad), s = std::sin(o.angle_rad);
  constexpr double beside_paper_mm = 3;  // what is masked with the card
  int seen = 0;
  for (int k = 0; k < directions; ++k) {
    const double t = 2 * std::numbers::pi * k / directions, a = o.radius_mm * e * std::cos(t),
                 b = o.radius_mm / e * std::sin(t);
    const double x = o.x_mm + c * a - s * b, y = o.y_mm + s * a + c * b;
    const int row = static_cast<int>(std::lround(f.grid.row_of(y))),
              column = static_cast<int>(std::lround(f.grid.column_of(x)));
    seen += near_paper_mm(scene, x, y) < beside_paper_mm ||
            (f.grid.contains(row, column) &&
             (f.inner.at<uchar>(row, column) != 0 || f.fold.at<uchar>(row, column) != 0));
  }
  return static_cast<double>(seen) / directions;
}

/// Place, size and height fit four looks at orange peel whatever they show, unless it is louder than peel
/// ever is.
bool hangs_on_few_looks(const SpotJudgement& j, const Acceptance& acceptance) {
  constexpr double few = 4;
  return j.looks <= few && j.disturbed_level - j.quiet_level <= acceptance.loud_excess;
}

/// What hangs on few looks must stand out by these few alone, half as much again where the spot is faint. And
/// what they show, some spot explains whatever its shape, unless it is a speck.
bool more_than_few_looks(const SpotJudgement& j, const Acceptance& acceptance) {
  if (!hangs_on_few_looks(j, acceptance)) return true;
  constexpr double margin = 1.5, nearly_all = 0.92;
  const double needed = loud(j, acceptance) ? acceptance.min_moved_snr : margin * acceptance.min_moved_snr;
  return j.explained > nearly_all && j.moved_snr * std::sqrt(j.looks / j.peel_cells) > needed;
}

/// By how much the spots that explain what is seen as well as this one move the stripes at least: where few
/// looks are all there is, the best may lie between them.
double least_moved_snr(const PanelScene& scene, const SpotFit& found, const std::vector<SpotVector>& others) {
  Patch patch = patch_for(scene, found.spot, others, 2.0, 5000);
  look_closely(patch, found.spot);
  bool highlight = false;
  const SpotFit fit = polish_with_fitting_light(patch, found, highlight, 10);
  patch.effective_pixel_share /= correlated_noise(patch, fit, highlight);
  constexpr double ratio = 1.25;
  const std::vector<SpotFit> alike =
      polish_along_height(patch, fit, highlight, ratio, noise_and_profile, scene.threads);
  const auto by_cost = [](const SpotFit& x, const SpotFit& y) { return x.cost < y.cost; };
  const double enough = std::min_element(alike.begin(), alike.end(), by_cost)->cost + noise_and_profile;
  double least = moved_snr(patch, fit.spot);
  for (const SpotFit& f : alike)
    if (f.cost < enough) least = std::min(least, moved_snr(patch, f.spot));
  return least;
}

bool surely_stands_out(const PanelScene& scene, const Attempt& a, const std::vector<SpotVector>& others,
                       const Acceptance& acceptance) {
  if (!hangs_on_few_looks(a.judgement, acceptance)) return true;
  SpotJudgement at_least = a.judgement;
  at_least.moved_snr = least_moved_snr(scene, a.fit, others);
  return more_than_few_looks(at_least, acceptance);
}

/// A fit that explains most of a disturbance tells, right or wrong, about how far the stripes move.
bool moves_as_peel_does(const SpotJudgement& j, const Acceptance& acceptance) {
  constexpr double mostly = 0.6, clearly = 0.7;
  return j.explained > mostly && j.moved_snr < clearly * needed_moved_snr(j, acceptance);
}

bool quiet_around(const SpotJudgement& j, const Acceptance& acceptance, double slack = 1) {
  return j.quiet_level <
         slack * std::max(acceptance.max_quiet_level, acceptance.max_quiet_share * j.disturbed_level);
}

/// The ring, with some of the spot left in it, against what lies beyond; right fits' go to 1.4.
bool leaves_its_ring_loud(const SpotJudgement& j) {
  constexpr double louder_than_far = 1.75;
  return j.quiet_level > louder_than_far * j.far_level;
}

/// What one spot does not explain, or leaves a rim of, though two might explain it: loud, and on as good a
/// place as they would need.
bool worth_parting(const PanelScene& scene, const Attempt& a, const Acceptance& acceptance) {
  constexpr double well_explained = 0.96, misplaced = 2;  // a wrong fit leaves some of the spot in its ring
  const SpotJudgement& j = a.judgement;
  return a.usable && !a.moves_little && (j.explained < well_explained || leaves_its_ring_loud(j)) &&
         !moves_as_peel_does(j, acceptance) && (loud(j, acceptance) || wide_and_faint(j, acceptance)) &&
         quiet_around(j, acceptance, misplaced) &&
         ring_seen(scene, outline_of(a.fit.spot, 1.2)) >= acceptance.min_ring_seen;
}

/// By how much worse the other sign explains what is seen inside; or surely worse, where most of it is seen
/// and not burnt out.
bool sign_is_told(const Attempt& a, const Acceptance& acceptance) {
  constexpr double mostly_seen = 0.5;
  return (a.fit.sign_settled && a.judgement.information_kept > mostly_seen) ||
         a.judgement.opposite_ratio > acceptance.min_opposite_ratio;
}

/// Loud, compact and whole, yet not explained: a wrong basin (right fits explain 0.86 to 1.02, wrong ones up
/// to 0.88).
bool worth_more_starts(const PanelScene& scene, const Attempt& a, const Outline& outline, double peak,
                       const Acceptance& acceptance) {
  constexpr double right = 0.97, compact = 4, whole = 0.85, no_speck_mm = 2;
  constexpr double half_covered = 0.5;  // a wrong fit lies beside what it should cover
  const SpotJudgement& j = a.judgement;
  const bool surely_disturbed = peak > acceptance.surely_disturbed;
  if (!surely_disturbed && (!a.usable || a.moves_little || moves_as_peel_does(j, acceptance))) return false;
  const bool doubtful = !a.usable || a.moves_little || j.explained < right || !quiet_around(j, acceptance) ||
                        !sign_is_told(a, acceptance) || leaves_its_ring_loud(j);
  const bool covers_some = j.disturbed_level - j.quiet_level > half_covered * acceptance.min_excess;
  return doubtful && (surely_disturbed || covers_some) && outline.elongation < compact &&
         outline.radius_mm > no_speck_mm && ring_seen(scene, outline) > whole;
}

/// A body line across a spot hides a band of it, but leaves both flanks.
bool whole_enough(const PanelScene& scene, const Attempt& a, const Acceptance& acceptance) {
  const double cut = a.judgement.cut_share;
  if (cut < acceptance.max_cut_share) return true;
  const double by_line = share_on_line(*scene.field, a.fit.spot);
  return by_line < acceptance.max_share_on_line && cut - by_line < acceptance.max_cut_share;
}

bool believable(const PanelScene& scene, const Attempt& a, const Outline& outline,
                const Acceptance& acceptance) {
  if (!a.usable) return false;
  const SpotVector& s = a.fit.spot;
  const double radius = mean_radius_mm(s), slope = steepest_slope(s);
  const double offset = std::hypot(s[s_x] - outline.x_mm, s[s_y] - outline.y_mm);
  constexpr double paper_clearance_mm = 3;  // of the spot's centre: the card's edge casts shadows and lifts
  return a.judgement.explained >= acceptance.min_explained &&
         a.judgement.slope_over_peel >= acceptance.min_slope_over_peel && slope >= acceptance.min_slope &&
         slope < 0.25 && radius < 45 && elongation(s) < 7 && whole_enough(scene, a, acceptance) &&
         a.judgement.information_kept > acceptance.min_information &&
         louder_than_peel(a.judgement, acceptance) && more_than_few_looks(a.judgement, acceptance) &&
         2 * half_width_mm(s) > acceptance.min_width_mm && quiet_around(a.judgement, acceptance) &&
         sign_is_told(a, acceptance) && offset < std::max(1.2 * longest_of(outline), 3.0) &&
         near_paper_mm(scene, s[s_x], s[s_y]) > paper_clearance_mm &&
         ring_seen(scene, outline_of(s, 1.2)) >= acceptance.min_ring_seen;
}

/// A fit polished and judged once more, with nothing left out of what it covers.
Attempt judged_whole(const PanelScene& scene, const Attempt& a, std::vector<Disc> leave_out,
                     const std::vector<SpotVector>& explained) {
  const SpotVector& spot = a.fit.spot;
  std::erase_if(leave_out, [covers = RadiusIn(spot)](const Disc& d) { return covers(d.x_mm, d.y_mm) < 1; });
  Patch patch = explained_patch(
      scene, request_for(scene, spot[s_x], spot[s_y], half_round(scene, half_length_mm(spot), 1.6), 8000),
      leave_out, explained);
  if (patch.size() == 0) return {};
  look_closely(patch, spot);
  bool highlight = false;
  Attempt whole{polish_with_fitting_light(patch, a.fit, highlight, 14, enough_to_judge), {}, true};
  whole.judgement = judge(patch, whole.fit, highlight, scene.pixels_per_mm);
  whole.looked_at = a.looked_at;
  whole.looked_at.push_back(looked_at(patch));
  return whole;
}

/// Whether any of these lies so near a spot that both may be bends of the same stripe.
bool any_on_its_stripes(const PanelScene& scene, const SpotVector& spot, const std::vector<Disc>& discs) {
  return std::any_of(discs.begin(), discs.end(), [&](const Disc& d) {
    return std::hypot(d.x_mm - spot[s_x], d.y_mm - spot[s_y]) <
           half_length_mm(spot) + d.radius_mm + scene.field->period_mm;
  });
}

/// An attempt at one of several candidates, the others left out. What was left out as a neighbour may be the
/// other half of the same spot: where it covers some of a fit that is not believed; or where the other sign
/// would explain nearly as well what was left in, one edge of a stripe perhaps.
Attempt attempt_beside_others(const PanelScene& scene, const Outline& outline,
                              const std::vector<Candidate>& all, const std::vector<SpotVector>& explained,
                              const Acceptance& acceptance) {
  constexpr double some = 0.1, nearly_as_well = 8;  // right fits: 8 to 600
  const std::vector<Disc> others = other_candidates(all, outline);
  Attempt a = attempt(scene, outline, others, explained, acceptance);
  if (others.empty()) return a;
  if (!a.usable) return attempt(scene, outline, {}, explained, acceptance);
  const bool believed = believable(scene, a, outline, acceptance);
  if (believed
          ? a.judgement.opposite_ratio >= nearly_as_well || !any_on_its_stripes(scene, a.fit.spot, others)
          : a.judgement.cut_share <= some)
    return a;
  std::vector<LookedAt> squares = a.looked_at;
  if (!believed) {
    Attempt whole = judged_whole(scene, a, others, explained);
    if (believable(scene, whole, outline, acceptance)) return whole;
    if (whole.usable) squares = whole.looked_at;
  }
  Attempt alone = attempt(scene, outline, {}, explained, acceptance);
  alone.looked_at.insert(alone.looked_at.end(), squares.begin(), squares.end());
  return alone;
}

/// First attempts at candidates, several at once where there are threads: most of those that follow will be
/// wanted, too, whatever comes of the first. An attempt counts as long as no spot that was accepted since
/// reaches what it looked at: it would come out the same.
class FirstAttempts {
 public:
  FirstAttempts(const PanelScene& scene, const std::vector<Candidate>& candidates,
                const std::vector<SpotVector>& accepted, const Acceptance& acceptance)
      : scene_(scene),
        candidates_(candidates),
        accepted_(accepted),
        acceptance_(acceptance),
        made_(candidates.size()) {}

  /// The attempt at a candidate; and, while about it, at up to `most` - 1 of those after it that
  /// `worth_trying` names and that are surely not parts of it.
  template <class WorthTrying>
  Attempt at(std::size_t index, std::size_t most, const WorthTrying& worth_trying) {
    if (counts(index)) return made_[index]->attempt;
    std::vector<std::size_t> batch{index};
    if (scene_.threads == 1) most = 1;
    for (std::size_t i = index + 1; i < candidates_.size() && batch.size() < most; ++i)
      if (!counts(i) && worth_trying(candidates_[i]) && lies_apart(candidates_[i], candidates_[index]))
        batch.push_back(i);
    parallel_for(batch.size(), scene_.threads, [&](std::size_t k) {
      const Outline& outline = candidates_[batch[k]].outline;
      made_[batch[k]] = {attempt_beside_others(scene_, outline, candidates_, accepted_, acceptance_),
                         accepted_.size()};
    });
    return made_[index]->attempt;
  }

 private:
  struct Made {
    Attempt attempt;
    std::size_t accepted;  ///< spots when it was made
  };

  bool counts(std::size_t index) {
    if (!made_[index]) return false;
    Made& made = *made_[index];
    for (; made.accepted < accepted_.size(); ++made.accepted)
      for (const LookedAt& square : made.attempt.looked_at)
        if (reaches(accepted_[made.accepted], square)) {
          made_[index].reset();
          return false;
        }
    return true;
  }

  static bool lies_apart(const Candidate& a, const Candidate& b) {
    return std::hypot(a.outline.x_mm - b.outline.x_mm, a.outline.y_mm - b.outline.y_mm) >
           longest_of(a.outline) + longest_of(b.outline);
  }

  const PanelScene& scene_;
  const std::vector<Candidate>& candidates_;
  const std::vector<SpotVector>& accepted_;
  const Acceptance& acceptance_;
  std::vector<std::optional<Made>> made_;
};

/// Of a spot's contour: what lies nearer may be the spot's own misfit.
constexpr double beside_spot = 2.2;

/// Whether a small spot in an accepted one, or beside it, may be no more than what that one's shape leaves
/// over: its slope does not stand out from the slope that the unexplained share of the disturbance stands for
/// (a share of energy, hence the root).
bool may_be_misfit(const std::vector<FoundSpot>& accepted, const SpotVector& spot) {
  constexpr double within = 1.25, much_smaller = 0.65, stands_out = 3, stands_out_beside = 1;
  return std::any_of(accepted.begin(), accepted.end(), [&](const FoundSpot& outer) {
    const SpotVector& o = outer.fit.spot;
    double rho = RadiusIn(o)(spot[s_x], spot[s_y]);
    if (outer.second) rho = std::min(rho, RadiusIn(*outer.second)(spot[s_x], spot[s_y]));
    const double needed = rho < within ? stands_out : stands_out_beside;
    const double left = std::sqrt(std::clamp(1 - outer.judgement.explained, 0.0, 1.0));
    return rho < beside_spot && mean_radius_mm(spot) < much_smaller * mean_radius_mm(o) &&
           steepest_slope(spot) < needed * left * steepest_slope(o);
  });
}

/// Whether a smaller spot may be the rest of one beside it: a line crosses both, so that neither shows more
/// than its flanks.
bool may_be_rest_on_line(const ResidualField& field, const std::vector<FoundSpot>& accepted,
                         const SpotVector& spot) {
  constexpr double crossed = 0.15;
  if (share_on_line(field, spot) < crossed) return false;
  return std::any_of(accepted.begin(), accepted.end(), [&](const FoundSpot& outer) {
    const SpotVector& o = outer.fit.spot;
    return RadiusIn(o)(spot[s_x], spot[s_y]) < beside_spot && mean_radius_mm(spot) < mean_radius_mm(o) &&
           share_on_line(field, o) >= crossed;
  });
}

/// A sum of two spots, judged by its first one.
Attempt judged_sum(const PanelScene& scene, const SpotSum& sum, const SpotFit& single,
                   const std::vector<SpotVector>& others) {
  const Patch patch = patch_for(scene, sum, others, 8000);
  bool highlight = false;
  SpotFit first = single;
  first.spot = sum.first, first.drift = sum.drift;
  return {first, judge(patch, sum, single, highlight, scene.pixels_per_mm), patch.size() > 0};
}

/// The ellipse of a found spot's contour at a tenth of its height.
Outline contour_of(const FoundSpot& found) {
  if (!found.second) return outline_of(found.fit.spot);
  constexpr int cells = 61;
  const SpotVector &first = found.fit.spot, &second = *found.second;
  const double apart = std::hypot(first[s_x] - second[s_x], first[s_y] - second[s_y]);
  const double reach_mm = 1.5 * std::max(half_length_mm(first), apart + half_length_mm(second));
  const SpotGeometry g =
      measure_spot(draw_spots(std::array{first, second}, first[s_x], first[s_y], reach_mm, cells));
  return {g.x_mm, g.y_mm, 0.5 * g.diameter_mm, g.length_mm / std::max(g.width_mm, 0.1 * g.length_mm),
          g.angle_deg * std::numbers::pi / 180};
}

/// All parts of all spots but these two.
std::vector<SpotVector> all_but(const std::vector<FoundSpot>& spots, std::size_t i, std::size_t j) {
  std::vector<SpotVector> others;
  for (std::size_t k = 0; k < spots.size(); ++k) {
    if (k == i || k == j) continue;
    others.push_back(spots[k].fit.spot);
    if (spots[k].second) others.push_back(*spots[k].second);
  }
  return others;
}

bool is_nested(const std::vector<FoundSpot>& spots, std::size_t i) {
  return spots[i].inside_of ||
         std::any_of(spots.begin(), spots.end(), [&](const FoundSpot& s) { return s.inside_of == i; });
}

/// Two spots that touch and that a single one explains as well become that one.
void join_touching(const PanelScene& scene, const Acceptance& acceptance, std::vector<FoundSpot>& spots) {
  for (std::size_t i = 0; i < spots.size(); ++i)
    for (std::size_t j = i + 1; j < spots.size(); ++j) {
      if (is_nested(spots, i) || is_nested(spots, j) || spots[i].second || spots[j].second) continue;
      const SpotVector &a = spots[i].fit.spot, &b = spots[j].fit.spot;
      if (std::hypot(a[s_x] - b[s_x], a[s_y] - b[s_y]) > half_length_mm(a) + half_length_mm(b)) continue;
      const std::vector<SpotVector> others = all_but(spots, i, j);
      const auto one = one_for_two(scene, a, b, others);
      if (!one) continue;
      bool highlight = false;
      const Patch patch = patch_for(scene, one->spot, others, 2.0, 8000);
      const Attempt joined{*one, judge(patch, *one, highlight, scene.pixels_per_mm), patch.size() > 0};
      if (!believable(scene, joined, outline_of(one->spot), acceptance)) continue;
      spots[i] = {joined.fit, joined.judgement, std::nullopt, std::nullopt};
      spots.erase(spots.begin() + static_cast<std::ptrdiff_t>(j));
      for (FoundSpot& s : spots)
        if (s.inside_of && *s.inside_of > j) --*s.inside_of;
      --j;
    }
}

/// Spots are found one by one, the strongest first: what was fitted before its neighbours were known, and did
/// not explain all or took two spots to, gets another try with all others explained. One spot is believed
/// before two.
void look_again(const PanelScene& scene, const Acceptance& acceptance, std::vector<FoundSpot>& spots) {
  constexpr double well_explained = 0.96, as_well = 0.03;
  for (std::size_t i = 0; i + 1 < spots.size(); ++i) {
    FoundSpot& found = spots[i];
    if (is_nested(spots, i) || (!found.second && found.judgement.explained > well_explained)) continue;
    const std::vector<SpotVector> others = all_but(spots, i, i);
    const Outline outline = contour_of(found);
    Attempt again = attempt(scene, outline, {}, others, acceptance);
    constexpr double not_known = 0;
    if (worth_more_starts(scene, again, outline, not_known, acceptance)) {
      const Attempt widely = wide_attempt(scene, outline, {}, others, acceptance);
      if (widely.usable && credit(widely.judgement) > credit(again.judgement)) again = widely;
    }
    const bool better = found.second ? again.judgement.explained > found.judgement.explained - as_well
                                     : again.judgement.explained > found.judgement.explained;
    if (better && believable(scene, again, outline, acceptance))
      found = {again.fit, again.judgement, std::nullopt, std::nullopt};
  }
}

/// One of two nested spots, judged with the other one explained.
Attempt judged_with(const PanelScene& scene, const SpotFit& fit, const SpotVector& other,
                    std::vector<SpotVector> explained) {
  explained.push_back(other);
  const Patch patch = patch_for(scene, fit.spot, explained, 2.0, 8000);
  bool highlight = false;
  Attempt judged{polish_with_fitting_light(patch, fit, highlight, 4), {}, patch.size() > 0};
  judged.judgement = judge(patch, judged.fit, highlight, scene.pixels_per_mm);
  return judged;
}

}  // namespace

double least_believable_slope(double peel_slope, double peel_cell_mm, double diameter_mm,
                              const Acceptance& acceptance) {
  return std::max(
      {acceptance.min_slope, acceptance.min_slope_over_peel * peel_slope,
       2 * acceptance.min_moved_snr * peel_slope / std::sqrt(peel_cells(diameter_mm, peel_cell_mm))});
}

double steepest_slope(const SpotVector& spot) {
  const SpotShape<double> shape(spot);
  double steepest = 0;
  for (int axis = 0; axis < 4; ++axis) {
    const double angle = spot[s_angle] + axis * 0.25 * std::numbers::pi;
    const double reach = 1.6 * half_length_mm(spot);
    for (int i = -80; i <= 80; ++i) {
      const double r = reach * i / 80;
      const auto v = shape.at(spot[s_x] + r * std::cos(angle), spot[s_y] + r * std::sin(angle));
      steepest = std::max(steepest, std::hypot(v.slope_x, v.slope_y));
    }
  }
  return steepest;
}

SpotFit polish_with_fitting_light(const Patch& patch, const SpotFit& start, bool& highlight, int iterations,
                                  std::size_t most_pixels) {
  const PixelArrays pixels = some_pixels(patch, most_pixels);
  const SpotFit plain = polish_spot(pixels, start.spot, false, iterations);
  const SpotFit with = polish_spot(pixels, plain.spot, true, iterations / 2);
  highlight = with.cost < plain.cost - highlight_worth;
  SpotFit polished = highlight ? with : plain;
  polished.search_cost = start.search_cost, polished.opposite_cost = start.opposite_cost,
  polished.sign_settled = start.sign_settled;
  return polished;
}

namespace {

/// A judgement of the sum of `parts`, by the contour of the first one, whose fit tells of the other sign.
SpotJudgement judged_by(const Patch& patch, std::span<const SpotVector> parts, const SpotFit& fit,
                        bool highlight, double pixels_per_mm) {
  SpotJudgement j;
  SpotVector none = fit.spot;
  none[s_height] = 0;
  const PixelArrays pixels = some_pixels(patch);
  const LightFit with = light_under(pixels, parts, fit.drift, highlight),
                 without = light_under(pixels, std::span(&none, 1), Eigen::Vector3d::Zero(), false);
  const auto cost = [](float r) { return pseudo_huber_cost(r, judged_scale); };
  double q0 = 0, q1 = 0, ring = 0, beyond = 0, kept = 0, all = 0, stripes_per_mm = 0, moved = 0;
  std::size_t inside = 0, around = 0, far = 0;
  const RadiusIn rho_in(fit.spot);
  // Grid cell of each pixel inside: the highest stripe frequency is told by neighbours.
  std::vector<int> at_cell(static_cast<std::size_t>(patch.rows) * patch.columns, -1);
  for (std::size_t i = 0; i < patch.size(); ++i) {
    const MirrorPixel& p = patch.pixel[i];
    const Zone zone = zone_of(rho_in(p.x_mm, p.y_mm));
    if (zone == Zone::ring) ring += cost(with.residual[i]), ++around;
    if (zone == Zone::beyond) beyond += cost(with.residual[i]), ++far;
    if (zone != Zone::inside) continue;
    ++inside;
    at_cell[static_cast<std::size_t>(patch.cell[i])] = static_cast<int>(i);
    q0 += cost(without.residual[i]), q1 += cost(with.residual[i]);
    stripes_per_mm += std::sqrt(p.phase_x * p.phase_x + p.phase_y * p.phase_y);
    const double move =
        with.phase[i] - without.phase[i] - fit.drift.dot(Eigen::Vector3d(1, patch.xn(i), patch.yn(i)));
    moved += move * move;
    const double s = with.profile_slope[i] * move;
    all += s * s;
    if (!patch.clipped[i]) kept += s * s;
  }
  if (inside == 0) return j;
  const auto inside_count = static_cast<double>(inside);
  q0 /= inside_count, q1 /= inside_count;
  j.quiet_level = around > 50 ? ring / static_cast<double>(around) : 0.5;
  constexpr std::size_t enough_far = 500;
  j.far_level = far > enough_far ? beyond / static_cast<double>(far) : j.quiet_level;
  j.disturbed_level = q0;
  j.explained = q0 > j.quiet_level + 1e-9
                    ? 1 - std::max(q1 - j.quiet_level, -0.05 * (q0 - j.quiet_level)) / (q0 - j.quiet_level)
                    : 0;
  j.information_kept = all > 0 ? kept / all : 1;
  const double peel_slope = std::max(patch.edge_jitter_cycles, 1e-4) / patch.gain;
  j.slope_over_peel = steepest_slope(fit.spot) / peel_slope;
  j.peel_cells = peel_cells(2 * mean_radius_mm(fit.spot), patch.peel_cell_mm);
  // A stripe shows where it goes by its two edges, and an edge shows one row of cells.
  j.looks = j.peel_cells * std::min(1.0, 2 * patch.peel_cell_mm * stripes_per_mm / inside_count);
  j.moved_snr = moved_snr(patch, fit.spot, moved / inside_count);
  // Both signs leave what lies outside the spot as it is: only inside can they be told apart.
  const double cost_inside = std::max(q1, j.quiet_level) * inside_count * patch.effective_pixel_share;
  j.opposite_ratio = 1 + (fit.opposite_cost - fit.search_cost) / std::max(cost_inside, 1e-9);
  const double area = std::numbers::pi * std::exp(fit.spot[s_log_a] + fit.spot[s_log_b]) * 1.1 * 1.1;
  const double expected = area / (patch.step_mm * patch.step_mm);
  j.cut_share = std::clamp(1 - inside_count / expected, 0.0, 1.0);
  std::vector<float> density;
  for (std::size_t cell = 0; cell + 1 < at_cell.size(); ++cell) {
    if (at_cell[cell] < 0 || at_cell[cell + 1] < 0) continue;
    const float cycles = std::abs(with.phase[static_cast<std::size_t>(at_cell[cell + 1])] -
                                  with.phase[static_cast<std::size_t>(at_cell[cell])]);
    density.push_back(cycles / static_cast<float>(patch.step_mm * pixels_per_mm));
  }
  if (!density.empty()) j.fringe_density_px = quantile_of(density, 0.95);
  return j;
}

}  // namespace

SpotJudgement judge(const Patch& patch, const SpotFit& fit, bool highlight, double pixels_per_mm) {
  return judged_by(patch, std::span(&fit.spot, 1), fit, highlight, pixels_per_mm);
}

SpotJudgement judge(const Patch& patch, const SpotSum& sum, const SpotFit& single, bool highlight,
                    double pixels_per_mm) {
  SpotFit first = single;
  first.spot = sum.first, first.drift = sum.drift;
  return judged_by(patch, std::array{sum.first, sum.second}, first, highlight, pixels_per_mm);
}

Patch patch_for(const PanelScene& scene, const SpotVector& spot, const std::vector<SpotVector>& others,
                double reach, std::size_t max_pixels) {
  const double half = half_round(scene, half_length_mm(spot), reach);
  Patch patch =
      explained_patch(scene, request_for(scene, spot[s_x], spot[s_y], half, max_pixels), {}, others);
  if (patch.size() > 0) set_whitening(patch, spot);
  return patch;
}

Patch patch_for(const PanelScene& scene, const SpotSum& sum, const std::vector<SpotVector>& others,
                std::size_t max_pixels) {
  const double apart = std::hypot(sum.first[s_x] - sum.second[s_x], sum.first[s_y] - sum.second[s_y]);
  const double half =
      half_round(scene, std::max(half_length_mm(sum.first), 0.5 * apart + half_length_mm(sum.second)), 2.0);
  Patch patch = explained_patch(scene, request_for(scene, sum.first[s_x], sum.first[s_y], half, max_pixels),
                                {}, others);
  if (patch.size() == 0) return patch;
  Patch explained = patch;
  explain(explained, sum);
  SpotVector nothing_more = sum.first;
  nothing_more[s_height] = 0;
  set_whitening(explained, nothing_more);
  patch.whitening = explained.whitening;
  return patch;
}

Patch patch_without(const PanelScene& scene, const SpotVector& spot, const std::vector<SpotVector>& others,
                    const Disc& disc) {
  const double half = half_round(scene, half_length_mm(spot), 1.7);
  return explained_patch(scene, request_for(scene, spot[s_x], spot[s_y], half, 6000), {disc}, others);
}

namespace {

/// The spots of a photo, found one by one, the strongest first.
class SpotSearch {
 public:
  SpotSearch(const PanelScene& scene, const Acceptance& acceptance)
      : scene_(scene), acceptance_(acceptance) {}

  SpotSearchResult run() {
    constexpr int rounds = 8;
    for (int round = 0; round < rounds; ++round)
      if (!look_over_panel()) break;
    join_touching(scene_, acceptance_, result_.spots);
    look_again(scene_, acceptance_, result_.spots);
    tell_unexplained();
    return std::move(result_);
  }

 private:
  /// A disturbance that nothing explained.
  struct Hopeless {
    Candidate candidate;
    std::size_t accepted;  ///< spots when it was tried
  };

  /// One round: everything that stands out from what is explained. Whether another one may show more.
  bool look_over_panel() {
    const std::vector<Candidate> candidates = what_stands_out();  // still by the last round's count
    known_at_round_ = accepted_.size();
    FirstAttempts first(scene_, candidates, accepted_, acceptance_);
    failures_in_a_row_ = 0;
    for (std::size_t i = 0; i < candidates.size(); ++i) {
      if (failures_in_a_row_ >= patience) {
        nothing_below_ = candidates[i].peak;
        break;
      }
      if (!is_new(candidates[i]) || explain_one(i, candidates, first) || is_stale(candidates[i].outline))
        continue;
      ++failures_in_a_row_;
      hopeless_.push_back({candidates[i], accepted_.size()});
    }
    return accepted_.size() > known_at_round_;
  }

  ResidualField without_accepted() {
    return accepted_.empty() ? *scene_.field
                             : residual_with_spots(*scene_.field, *scene_.problem, scene_.parameters,
                                                   accepted_, explained_);
  }

  /// What no spot explains: loud cells, and what lies between them within half a period of the stripes.
  void tell_unexplained() {
    const ResidualField field = without_accepted();
    const DisturbanceMap map = disturbance(field, explained_, good_panel_);
    cv::Mat cells = loud_cells(map, field.grid, acceptance_.min_width_mm), labels, stats, centres, depth;
    const int reach = std::max(1, static_cast<int>(0.5 * field.period_mm / field.grid.step_mm));
    const cv::Mat disc = cv::getStructuringElement(cv::MORPH_ELLIPSE, cv::Size(2 * reach + 1, 2 * reach + 1));
    cv::distanceTransform(cells, depth, cv::DIST_L2, cv::DIST_MASK_5);
    cv::morphologyEx(cells, cells, cv::MORPH_CLOSE, disc);
    // What is left over inside a spot is its shape.
    for (int r = 0; r < cells.rows; ++r)
      for (int c = 0; c < cells.cols; ++c)
        if (cells.at<uchar>(r, c) != 0 && is_of_spot(field.grid.x_mm(c), field.grid.y_mm(r)))
          cells.at<uchar>(r, c) = 0;
    const int places = cv::connectedComponentsWithStats(cells, labels, stats, centres, 8, CV_32S);
    for (int i = 1; i < places; ++i) {
      const cv::Rect box(stats.at<int>(i, cv::CC_STAT_LEFT), stats.at<int>(i, cv::CC_STAT_TOP),
                         stats.at<int>(i, cv::CC_STAT_WIDTH), stats.at<int>(i, cv::CC_STAT_HEIGHT));
      const cv::Mat here = labels(box) == i;
      double loudest = 0, half_width = 0;
      cv::minMaxLoc(map.energy(box), nullptr, &loudest, nullptr, nullptr, here);
      cv::Point widest;
      cv::minMaxLoc(depth(box), nullptr, &half_width, nullptr, &widest, here);
      if (loudest < acceptance_.peel_excess) {
        cells(box).setTo(0, here);
        continue;
      }
      result_.unexplained.push_back({field.grid.x_mm(box.x + widest.x), field.grid.y_mm(box.y + widest.y),
                                     2 * half_width * field.grid.step_mm, loudest});
    }
    std::sort(result_.unexplained.begin(), result_.unexplained.end(),
              [](const UnexplainedPlace& a, const UnexplainedPlace& b) { return a.loudest > b.loudest; });
    result_.unexplained_cells = cells;
  }

  bool is_of_spot(double x_mm, double y_mm) const {
    constexpr double foot = 1.5;
    return std::any_of(accepted_.begin(), accepted_.end(),
                       [&](const SpotVector& s) { return RadiusIn(s)(x_mm, y_mm) < foot; });
  }

  std::vector<Candidate> what_stands_out() {
    const ResidualField field = without_accepted();
    constexpr double merged = 0.55;  // of a period of the stripes: a wide dent disturbs them in bands
    constexpr std::size_t most = 14, with_edges = 60;
    const DisturbanceMap map = disturbance(field, explained_, good_panel_);
    good_panel_ = map.good_panel;  // as the first round sees it: later ones see less of what dents spoil, but
                                   // no new panel
    std::vector<Candidate> candidates = find_candidates(
        field, map, merged * field.period_mm, [&](const Candidate& c) { return could_be_spot(c); }, most,
        with_edges);
    std::erase_if(candidates,
                  [&](const Candidate& c) { return c.peak < nothing_below_ && !is_stale(c.outline); });
    return candidates;
  }

  /// A streak along the board's edge, or something that lies mostly where nothing is seen, is no spot.
  bool could_be_spot(const Candidate& c) const {
    constexpr double streak = 10, hardly_seen = 0.4, all_but_one_side = 0.8;
    return c.outline.elongation < streak && seen_share(*scene_.field, c.outline) > hardly_seen &&
           ring_seen(scene_, c.outline) >= all_but_one_side;
  }

  /// Whether a spot accepted since there were so many reaches an outline, beyond its own contour.
  bool reached_since(std::size_t there_were, const Outline& o) const {
    constexpr double reach = 2.2;
    return std::any_of(accepted_.begin() + static_cast<std::ptrdiff_t>(there_were), accepted_.end(),
                       [&](const SpotVector& s) {
                         return std::hypot(s[s_x] - o.x_mm, s[s_y] - o.y_mm) <
                                reach * half_length_mm(s) + longest_of(o);
                       });
  }

  /// A spot found since the round began may be most of what the outline is about: the next round draws it
  /// anew, and looks at it again.
  bool is_stale(const Outline& o) const { return reached_since(known_at_round_, o); }

  /// What is left over inside a spot is its shape, not another spot, unless it is much smaller and yet wide
  /// enough for one.
  bool is_left_over(const Outline& o) const {
    constexpr double inside = 0.8, least = 0.25;
    return std::any_of(accepted_.begin(), accepted_.end(), [&](const SpotVector& s) {
      return RadiusIn(s)(o.x_mm, o.y_mm) < inside &&
             (o.radius_mm > least * mean_radius_mm(s) || 2 * o.radius_mm < acceptance_.min_width_mm);
    });
  }

  /// What a spot's shape leaves over need not lie inside.
  bool is_beside_spot(const Outline& o) const { return is_of_spot(o.x_mm, o.y_mm); }

  /// Tried before, as loud as then, and nothing found since reaches it.
  bool is_hopeless(const Candidate& c) const {
    constexpr double near = 0.5, alike = 0.5, louder = 1.5;
    return std::any_of(hopeless_.begin(), hopeless_.end(), [&](const Hopeless& h) {
      const Outline &o = c.outline, &was = h.candidate.outline;
      const auto [less, more] = std::minmax(o.radius_mm, was.radius_mm);
      return std::hypot(was.x_mm - o.x_mm, was.y_mm - o.y_mm) < near * more && less > alike * more &&
             c.peak < louder * h.candidate.peak && !reached_since(h.accepted, o);
    });
  }

  bool is_new(const Candidate& c) const {
    return !is_hopeless(c) && (!is_left_over(c.outline) || !c.partings.empty());
  }

  /// The cheapest explanation first: one spot, several side by side, one in a place that its disturbance does
  /// not show, one in another, two as one dent.
  bool explain_one(std::size_t index, const std::vector<Candidate>& all, FirstAttempts& first) {
    const Candidate& candidate = all[index];
    const Outline& outline = candidate.outline;
    if (is_left_over(outline))
      return explain_parts(index, all);  // what is round it may be more than its shape
    const auto untried = [&](const Candidate& c) { return is_new(c) && !is_left_over(c.outline); };
    Attempt a =
        first.at(index, static_cast<std::size_t>(std::max(patience - failures_in_a_row_, 1)), untried);
    const bool more_starts = worth_more_starts(scene_, a, outline, candidate.peak, acceptance_);
    // Where it is loud, its parts come before anything that takes longer.
    const bool believed = believable(scene_, a, outline, acceptance_);
    const bool parts_first = !believed && (more_starts || worth_parting(scene_, a, acceptance_));
    if (parts_first && explain_parts(index, all)) return true;
    if (!believed && is_stale(outline)) return false;
    if (wide_left_ > 0 && more_starts) {
      --wide_left_;
      const Attempt b = wide_attempt(scene_, outline, other_candidates(all, outline), accepted_, acceptance_);
      if (b.usable && credit(b.judgement) > credit(a.judgement)) a = b;
    }
    const bool may_be_two = worth_parting(scene_, a, acceptance_);
    if (may_be_two && looks_inside_++ < most_looks && accept_nested(a, outline)) return true;
    if (may_be_two && accept_sum(a, outline)) return true;
    if (accept(a, outline) || (!parts_first && explain_parts(index, all))) return true;
    if (more_starts && may_be_two && accept_last_chance(candidate, all)) return true;
    if (a.usable)
      result_.rejected.push_back(
          {outline, candidate.peak, a.judgement, share_on_line(*scene_.field, a.fit.spot)});
    return false;
  }

  /// What is surely there and nothing explains: no start of the other searches may have lain in its basin,
  /// for their outlines come in sizes.
  bool accept_last_chance(const Candidate& candidate, const std::vector<Candidate>& all) {
    if (candidate.peak <= acceptance_.surely_disturbed || last_chances_ == 0) return false;
    --last_chances_;
    return accept(wide_attempt(scene_, candidate.outline, other_candidates(all, candidate.outline), accepted_,
                               acceptance_, {0.8, 1.25}),
                  candidate.outline);
  }

  /// Several spots that run together.
  bool explain_parts(std::size_t index, const std::vector<Candidate>& all) {
    return std::any_of(all[index].partings.begin(), all[index].partings.end(),
                       [&](const std::vector<Outline>& lobes) { return explain_lobes(lobes, index, all); });
  }

  /// Each round part for itself, and again with the others explained.
  bool explain_lobes(const std::vector<Outline>& lobes, std::size_t index,
                     const std::vector<Candidate>& all) {
    std::vector<Candidate> parts;
    parts.reserve(lobes.size() + all.size());
    for (const Outline& lobe : lobes) parts.push_back({lobe, all[index].peak});
    for (std::size_t i = 0; i < all.size(); ++i)
      if (i != index) parts.push_back({all[i].outline, all[i].peak});
    FirstAttempts first(scene_, parts, accepted_, acceptance_);
    const auto untried_lobe = [&](const Candidate& c) {
      return &c < parts.data() + lobes.size() && !is_beside_spot(c.outline);
    };
    const std::size_t before = accepted_.size();
    std::size_t known = 0;
    do {
      known = accepted_.size();
      for (std::size_t i = 0; i < lobes.size(); ++i)
        if (untried_lobe(parts[i])) accept(first.at(i, lobes.size(), untried_lobe), parts[i].outline);
    } while (accepted_.size() > known);
    return accepted_.size() > before;
  }

  bool accept(const Attempt& a, const Outline& outline) {
    if (!believable(scene_, a, outline, acceptance_) || is_left_over(outline_of(a.fit.spot)) ||
        may_be_misfit(result_.spots, a.fit.spot) ||
        may_be_rest_on_line(*scene_.field, result_.spots, a.fit.spot) ||
        !surely_stands_out(scene_, a, accepted_, acceptance_))
      return false;
    keep({a.fit, a.judgement, std::nullopt, std::nullopt});
    return true;
  }

  /// What one spot does not explain may be a smaller one of the other sign inside it.
  bool accept_nested(const Attempt& a, const Outline& outline) {
    const auto pair = find_nested(scene_, a.fit.spot, accepted_);
    if (!pair) return false;
    const Attempt outer = judged_with(scene_, pair->outer, pair->inner.spot, accepted_);
    const Attempt inner = judged_with(scene_, pair->inner, outer.fit.spot, accepted_);
    if (!believable(scene_, outer, outline, acceptance_) ||
        inner.judgement.explained < acceptance_.min_explained)
      return false;
    const std::size_t outer_index = result_.spots.size();
    keep({outer.fit, outer.judgement, std::nullopt, std::nullopt});
    keep({pair->inner, outer.judgement, outer_index, std::nullopt});
    return true;
  }

  /// Or another half of the same dent. Two spots can draw what peel does, so one must be there in any case.
  bool accept_sum(const Attempt& a, const Outline& outline) {
    constexpr double half_a_dent = 0.35, no_speck_mm = 2;
    if (!louder_than_peel(a.judgement, acceptance_) || a.judgement.explained <= half_a_dent ||
        mean_radius_mm(a.fit.spot) <= no_speck_mm || looks_for_sums_++ >= most_looks)
      return false;
    const auto sum = find_sum(scene_, a.fit, accepted_);
    if (!sum) return false;
    const Attempt leading = judged_sum(scene_, *sum, a.fit, accepted_);
    // One spot is believed before two that have no more to show.
    if (believable(scene_, a, outline, acceptance_) && credit(leading.judgement) <= credit(a.judgement))
      return false;
    if (!believable(scene_, leading, outline, acceptance_) || is_left_over(outline_of(leading.fit.spot)))
      return false;
    keep({leading.fit, leading.judgement, std::nullopt, sum->second});
    return true;
  }

  void keep(const FoundSpot& found) {
    result_.spots.push_back(found);
    accepted_.push_back(found.fit.spot);
    if (found.second) accepted_.push_back(*found.second);
    failures_in_a_row_ = 0;
  }

  static constexpr int patience = 5;  // strongest first: after so many that are nothing, the rest is nothing
  static constexpr int most_looks =
      4;  // strongest candidates first; each look takes as long as five attempts

  const PanelScene& scene_;
  const Acceptance& acceptance_;
  SpotSearchResult result_;
  std::vector<SpotVector> accepted_;
  std::vector<Hopeless> hopeless_;
  cv::Mat explained_;  ///< where accepted spots are, 0 to 1
  std::optional<PanelEnergy> good_panel_;
  double nothing_below_ = 0;        ///< the peak at which patience last ran out
  std::size_t known_at_round_ = 0;  ///< how many spots were known when the round began
  int failures_in_a_row_ = 0, looks_inside_ = 0, looks_for_sums_ = 0;
  int wide_left_ = 4, last_chances_ = 4;  ///< each costs ten ordinary attempts
};

}  // namespace

SpotSearchResult find_spots(const PanelScene& scene, const Acceptance& acceptance) {
  return SpotSearch(scene, acceptance).run();
}

}  // namespace ripplegauge
