// Judges a fit by the pixels inside its contour, in the ring around it and beyond: what would be left if
// there were no spot, what is left with it, and how far it moves the stripes.
#include "dents/judgement.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <span>

#include "core/least_squares.hpp"
#include "core/quantile.hpp"
#include "dents/loudness.hpp"
#include "relief/light_fit.hpp"
#include "relief/surface_fit.hpp"
#include "spot_problem.hpp"

namespace ripplegauge {

double peel_cells(double diameter_mm, double peel_cell_mm) {
  return 0.25 * std::numbers::pi * std::pow(diameter_mm / peel_cell_mm, 2);
}

namespace {

double moved_snr(const Patch& patch, const SpotVector& spot, double mean_square_cycles) {
  return std::sqrt(peel_cells(2 * mean_radius_mm(spot), patch.peel_cell_mm) * mean_square_cycles) /
         patch.jitter_cycles();
}

}  // namespace

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

/// What the pixels show under a fit and without it.
struct Seen {
  LightFit with, without;
};

/// Sums over the zones of a spot; costs are robust chi squares.
struct ZoneSums {
  double without = 0, with = 0;          ///< inside: costs with no spot, and with the fit
  double ring = 0, beyond = 0;           ///< costs of the fit
  double kept = 0, all = 0;              ///< inside: slope information of what is not clipped, and of all
  double stripes_per_mm = 0, moved = 0;  ///< inside: frequency of undisturbed stripes, squares of their move
  std::size_t inside = 0, around = 0, far = 0;
  std::vector<int> at_cell;  ///< pixel in each cell of the patch's grid that lies inside, else -1
};

ZoneSums zone_sums(const Patch& patch, const SpotFit& fit, const Seen& seen) {
  const auto cost = [](float r) { return pseudo_huber_cost(r, judged_scale); };
  ZoneSums z;
  z.at_cell.assign(static_cast<std::size_t>(patch.rows) * patch.columns, -1);
  const RadiusIn rho_in(fit.spot);
  for (std::size_t i = 0; i < patch.size(); ++i) {
    const MirrorPixel& p = patch.pixel[i];
    const Zone zone = zone_of(rho_in(p.x_mm, p.y_mm));
    if (zone == Zone::ring) z.ring += cost(seen.with.residual[i]), ++z.around;
    if (zone == Zone::beyond) z.beyond += cost(seen.with.residual[i]), ++z.far;
    if (zone != Zone::inside) continue;
    ++z.inside;
    z.at_cell[static_cast<std::size_t>(patch.cell[i])] = static_cast<int>(i);
    z.without += cost(seen.without.residual[i]), z.with += cost(seen.with.residual[i]);
    z.stripes_per_mm += std::sqrt(p.phase_x * p.phase_x + p.phase_y * p.phase_y);
    const double move = seen.with.phase[i] - seen.without.phase[i] -
                        fit.drift.dot(Eigen::Vector3d(1, patch.xn(i), patch.yn(i)));
    z.moved += move * move;
    const double s = seen.with.profile_slope[i] * move;
    z.all += s * s;
    if (!patch.clipped[i]) z.kept += s * s;
  }
  return z;
}

/// Highest stripe frequency inside, cycles per photo pixel, told by neighbours of the patch's grid.
double fringe_density(const Patch& patch, const ZoneSums& zones, const std::vector<float>& phase,
                      double pixels_per_mm) {
  std::vector<float> density;
  for (std::size_t cell = 0; cell + 1 < zones.at_cell.size(); ++cell) {
    if (zones.at_cell[cell] < 0 || zones.at_cell[cell + 1] < 0) continue;
    const float cycles = std::abs(phase[static_cast<std::size_t>(zones.at_cell[cell + 1])] -
                                  phase[static_cast<std::size_t>(zones.at_cell[cell])]);
    density.push_back(cycles / static_cast<float>(patch.step_mm * pixels_per_mm));
  }
  constexpr double nearly_highest = 0.95;  // the last twentieth is outliers
  return density.empty() ? 0 : quantile_of(density, nearly_highest);
}

/// Share of the inside where the fit has stripes stand still: their phase changes by less than this share of
/// what the undisturbed panel's does, in both directions.
double still_share(const Patch& patch, const ZoneSums& zones, const std::vector<float>& phase) {
  constexpr double still = 0.35;
  std::size_t all = 0, still_ones = 0;
  const auto columns = static_cast<std::size_t>(patch.columns);
  for (std::size_t cell = 0; cell + columns + 1 < zones.at_cell.size(); ++cell) {
    const int here = zones.at_cell[cell], right = zones.at_cell[cell + 1],
              below = zones.at_cell[cell + columns];
    if (here < 0 || right < 0 || below < 0) continue;
    const auto of = [&](int pixel) { return phase[static_cast<std::size_t>(pixel)]; };
    const MirrorPixel& p = patch.pixel[static_cast<std::size_t>(here)];
    const double moved = std::hypot(of(right) - of(here), of(below) - of(here)),
                 undisturbed = std::hypot(p.phase_x, p.phase_y) * patch.step_mm;
    ++all;
    still_ones += moved < still * undisturbed;
  }
  return all > 0 ? static_cast<double>(still_ones) / static_cast<double>(all) : 0;
}

/// Share of the excess without the spot that is gone with it; a fit that leaves less than the ring shows
/// counts for no more than a twentieth above all.
double explained_share(double without, double with, double quiet) {
  if (without <= quiet + 1e-9) return 0;
  return 1 - std::max(with - quiet, -0.05 * (without - quiet)) / (without - quiet);
}

/// A judgement of the sum of `parts`, by the contour of the first one, whose fit tells of the other sign.
SpotJudgement judged_by(const Patch& patch, std::span<const SpotVector> parts, const SpotFit& fit,
                        bool highlight, double pixels_per_mm) {
  SpotJudgement j;
  SpotVector none = fit.spot;
  none[s_height] = 0;
  const PixelArrays pixels = some_pixels(patch);
  const Seen seen{light_under(pixels, parts, fit.drift, highlight),
                  light_under(pixels, std::span(&none, 1), Eigen::Vector3d::Zero(), false)};
  const ZoneSums z = zone_sums(patch, fit, seen);
  if (z.inside == 0) return j;
  const auto inside = static_cast<double>(z.inside);
  const double with = z.with / inside;
  constexpr std::size_t enough_around = 50, enough_far = 500;  // pixels
  constexpr double noise_alone = 0.5;
  j.quiet_level = z.around > enough_around ? z.ring / static_cast<double>(z.around) : noise_alone;
  j.far_level = z.far > enough_far ? z.beyond / static_cast<double>(z.far) : j.quiet_level;
  j.disturbed_level = z.without / inside;
  j.explained = explained_share(j.disturbed_level, with, j.quiet_level);
  j.information_kept = z.all > 0 ? z.kept / z.all : 1;
  j.slope_over_peel = steepest_slope(fit.spot) / patch.peel_slope();
  j.peel_cells = peel_cells(2 * mean_radius_mm(fit.spot), patch.peel_cell_mm);
  // A stripe shows where it goes by its two edges, and an edge shows one row of cells.
  j.looks = j.peel_cells * std::min(1.0, 2 * patch.peel_cell_mm * z.stripes_per_mm / inside);
  j.moved_snr = moved_snr(patch, fit.spot, z.moved / inside);
  // Both signs leave what lies outside the spot as it is: only inside can they be told apart.
  const double cost_inside = std::max(with, j.quiet_level) * inside * patch.effective_pixel_share;
  j.opposite_ratio = 1 + (fit.opposite_cost - fit.search_cost) / std::max(cost_inside, 1e-9);
  const double area_mm2 = std::numbers::pi * std::exp(fit.spot[s_log_a] + fit.spot[s_log_b]) * 1.1 * 1.1;
  j.cut_share = std::clamp(1 - inside / (area_mm2 / (patch.step_mm * patch.step_mm)), 0.0, 1.0);
  j.still_share = still_share(patch, z, seen.with.phase);
  j.fringe_density_px = fringe_density(patch, z, seen.with.phase, pixels_per_mm);
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

}  // namespace ripplegauge
