// Decides where work is spent. Peel and light make many weak disturbances; few of them are dents, and a wide
// search takes as long as ten attempts.
#include "worth_trying.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "acceptance.hpp"
#include "dents/loudness.hpp"

namespace ripplegauge {
namespace {

SpotVector ellipse_of(const Outline& outline) {
  SpotVector flat = SpotVector::Zero();
  const double half = 0.5 * std::log(outline.elongation);
  flat[s_x] = outline.x_mm, flat[s_y] = outline.y_mm, flat[s_angle] = outline.angle_rad;
  flat[s_log_a] = std::log(outline.radius_mm) + half, flat[s_log_b] = std::log(outline.radius_mm) - half;
  return flat;
}

Loudness loudness_in(const Patch& patch, const std::vector<double>& costs, const SpotVector& ellipse) {
  return loudness(ellipse, costs, [&](std::size_t i) {
    return std::pair<double, double>(patch.pixel[i].x_mm, patch.pixel[i].y_mm);
  });
}

}  // namespace

std::vector<double> undisturbed_costs(const Patch& patch) {
  return robust_costs(whitened_residuals(patch, SpotVector::Zero(), Eigen::Vector3d::Zero(), false));
}

double summed_excess(const Patch& patch, const std::vector<double>& costs, const Outline& outline) {
  return loudness_in(patch, costs, ellipse_of(outline)).excess() *
         peel_cells(2 * outline.radius_mm, patch.peel_cell_mm);
}

WorthFinishing worth_finishing(const Patch& patch, const std::vector<double>& costs, const Outline& outline,
                               const DentOptions& options) {
  const double quiet = loudness_in(patch, costs, ellipse_of(outline)).around;
  return [&patch, &costs, &options, quiet](const SpotVector& spot, double share) {
    const Acceptance& acceptance = options.acceptance;
    if (2 * half_width_mm(spot) <= share * acceptance.min_width_mm) return false;
    if (steepest_slope(spot) <=
        share * std::max(acceptance.min_slope, acceptance.min_slope_over_peel * patch.peel_slope()))
      return false;
    const Loudness seen = loudness_in(patch, costs, spot);
    SpotJudgement hoped;
    hoped.quiet_level = std::min(seen.around, quiet);
    hoped.disturbed_level =
        hoped.quiet_level + (seen.inside - hoped.quiet_level) / options.effort.seen_excess_share;
    hoped.peel_cells = peel_cells(2 * mean_radius_mm(spot), patch.peel_cell_mm);
    hoped.moved_snr = moved_snr(patch, spot) / share;
    return louder_than_peel(hoped, acceptance);
  };
}

bool moves_as_peel_does(const SpotJudgement& j, const DentOptions& options) {
  return j.explained > options.effort.peel_explained &&
         j.moved_snr < options.effort.peel_moved_share * needed_moved_snr(j, options.acceptance);
}

bool leaves_its_ring_loud(const SpotJudgement& j, const EffortOptions& effort) {
  return j.quiet_level > effort.ring_over_far * j.far_level;
}

bool worth_parting(const PanelScene& scene, const Attempt& a) {
  const DentOptions& o = scene.options;
  const SpotJudgement& j = a.judgement;
  return a.usable && !a.moves_little &&
         (j.explained < o.effort.well_explained || leaves_its_ring_loud(j, o.effort)) &&
         !moves_as_peel_does(j, o) && (loud(j, o.acceptance) || wide_and_faint(j, o.acceptance)) &&
         quiet_around(j, o.acceptance, o.effort.misplaced_ring) &&
         ring_seen(scene, outline_of(a.fit.spot, 1.2)) >= o.acceptance.min_ring_seen;
}

bool worth_more_starts(const PanelScene& scene, const Attempt& a, const Outline& outline, double peak) {
  const DentOptions& o = scene.options;
  const SpotJudgement& j = a.judgement;
  const bool surely_disturbed = peak > o.acceptance.surely_disturbed;
  if (!surely_disturbed && (!a.usable || a.moves_little || moves_as_peel_does(j, o))) return false;
  const bool doubtful = !a.usable || a.moves_little || j.explained < o.effort.surely_explained ||
                        !quiet_around(j, o.acceptance) || !sign_is_told(a.fit, j, o.acceptance) ||
                        leaves_its_ring_loud(j, o.effort);
  // A wrong fit lies beside what it should cover.
  const bool covers_some = j.excess() > o.effort.covered_share * o.acceptance.min_excess;
  return doubtful && (surely_disturbed || covers_some) && outline.elongation < o.effort.compact_elongation &&
         outline.radius_mm > o.effort.speck_radius_mm && ring_seen(scene, outline) > o.effort.whole_ring;
}

}  // namespace ripplegauge
