// What must be true of a fit before it is called a dent. A spot that is believed wrongly is a false figure on
// somebody's bill; one that is not believed is named as unexplained. So all rules must hold.
#include "acceptance.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "dents/loudness.hpp"
#include "dents/near_line.hpp"

namespace ripplegauge {

bool loud(const SpotJudgement& j, const Acceptance& acceptance) {
  return j.excess() >= acceptance.min_excess;
}

bool wide_and_faint(const SpotJudgement& j, const Acceptance& acceptance) {
  return j.excess() * j.peel_cells > acceptance.min_summed_excess &&
         j.disturbed_level > acceptance.min_faint_ratio * j.quiet_level;
}

double needed_moved_snr(const SpotJudgement& j, const Acceptance& acceptance) {
  const double loudness = std::log(j.excess() / acceptance.peel_excess) /
                          std::log(acceptance.loud_excess / acceptance.peel_excess);
  return acceptance.min_moved_snr *
         std::pow(acceptance.min_loud_moved_snr / acceptance.min_moved_snr, std::clamp(loudness, 0.0, 1.0));
}

bool louder_than_peel(const SpotJudgement& j, const Acceptance& acceptance) {
  return (wide_and_faint(j, acceptance) && j.moved_snr > acceptance.min_faint_moved_snr) ||
         (loud(j, acceptance) && j.moved_snr >= needed_moved_snr(j, acceptance));
}

bool quiet_around(const SpotJudgement& j, const Acceptance& acceptance, double slack) {
  return j.quiet_level <
         slack * std::max(acceptance.max_quiet_level, acceptance.max_quiet_share * j.disturbed_level);
}

bool hangs_on_few_looks(const SpotJudgement& j, const Acceptance& acceptance) {
  return j.looks <= acceptance.few_looks && j.excess() <= acceptance.loud_excess;
}

bool more_than_few_looks(const SpotJudgement& j, const Acceptance& acceptance) {
  if (!hangs_on_few_looks(j, acceptance)) return true;
  const double needed =
      loud(j, acceptance) ? acceptance.min_moved_snr : acceptance.few_looks_margin * acceptance.min_moved_snr;
  return j.explained > acceptance.min_explained_by_few_looks &&
         j.moved_snr * std::sqrt(j.looks / j.peel_cells) > needed;
}

bool sign_is_told(const SpotFit& fit, const SpotJudgement& j, const Acceptance& acceptance) {
  return (fit.sign_settled && j.information_kept > acceptance.min_information_for_sign) ||
         j.opposite_ratio > acceptance.min_opposite_ratio;
}

bool shaped_as_a_dent(const SpotVector& spot, const Acceptance& acceptance) {
  const double slope = steepest_slope(spot);
  return slope >= acceptance.min_slope && slope < acceptance.max_slope &&
         mean_radius_mm(spot) < acceptance.max_radius_mm && elongation(spot) < acceptance.max_elongation &&
         2 * half_width_mm(spot) > acceptance.min_width_mm;
}

namespace {

/// By how much the spots that explain what is seen as well as this one move the stripes at least.
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
  const double good_enough = std::min_element(alike.begin(), alike.end(), by_cost)->cost + noise_and_profile;
  double least = moved_snr(patch, fit.spot);
  for (const SpotFit& f : alike)
    if (f.cost < good_enough) least = std::min(least, moved_snr(patch, f.spot));
  return least;
}

/// A body line across a spot hides a band of it, but leaves both flanks.
bool whole_enough(const PanelScene& scene, const Attempt& a, const Acceptance& acceptance) {
  const double cut = a.judgement.cut_share;
  if (cut < acceptance.max_cut_share) return true;
  const double by_line = share_on_line(*scene.field, a.fit.spot);
  return by_line < acceptance.max_share_on_line && cut - by_line < acceptance.max_cut_share;
}

bool stands_out(const SpotFit& fit, const SpotJudgement& j, const Acceptance& acceptance) {
  return j.explained >= acceptance.min_explained && j.slope_over_peel >= acceptance.min_slope_over_peel &&
         j.information_kept > acceptance.min_information && louder_than_peel(j, acceptance) &&
         more_than_few_looks(j, acceptance) && sign_is_told(fit, j, acceptance) &&
         j.still_share < acceptance.max_still_share;
}

}  // namespace

bool believable_beside_others(const PanelScene& scene, const Attempt& a, const Outline& outline) {
  const Acceptance& acceptance = scene.options.acceptance;
  const SpotVector& s = a.fit.spot;
  if (!a.usable || !shaped_as_a_dent(s, acceptance) || !stands_out(a.fit, a.judgement, acceptance))
    return false;
  const double offset_mm = std::hypot(s[s_x] - outline.x_mm, s[s_y] - outline.y_mm);
  return offset_mm < std::max(acceptance.max_offset_share * longest_of(outline), acceptance.max_offset_mm) &&
         whole_enough(scene, a, acceptance) &&
         near_paper_mm(scene, s[s_x], s[s_y]) > acceptance.paper_clearance_mm &&
         ring_seen(scene, outline_of(s, 1.2)) >= acceptance.min_ring_seen;
}

bool believable(const PanelScene& scene, const Attempt& a, const Outline& outline) {
  return quiet_around(a.judgement, scene.options.acceptance) && believable_beside_others(scene, a, outline);
}

bool surely_stands_out(const PanelScene& scene, const Attempt& a, const std::vector<SpotVector>& others) {
  const Acceptance& acceptance = scene.options.acceptance;
  if (!hangs_on_few_looks(a.judgement, acceptance)) return true;
  SpotJudgement at_least = a.judgement;
  at_least.moved_snr = least_moved_snr(scene, a.fit, others);
  return more_than_few_looks(at_least, acceptance);
}

bool may_be_misfit(const std::vector<FoundSpot>& accepted, const SpotVector& spot,
                   const Acceptance& acceptance) {
  return std::any_of(accepted.begin(), accepted.end(), [&](const FoundSpot& outer) {
    const SpotVector& o = outer.fit.spot;
    double rho = RadiusIn(o)(spot[s_x], spot[s_y]);
    if (outer.second) rho = std::min(rho, RadiusIn(*outer.second)(spot[s_x], spot[s_y]));
    const double needed = rho < acceptance.misfit_within ? acceptance.steepness_over_misfit_within
                                                         : acceptance.steepness_over_misfit_beside;
    const double left = std::sqrt(std::clamp(1 - outer.judgement.explained, 0.0, 1.0));
    return rho < acceptance.misfit_beside &&
           mean_radius_mm(spot) < acceptance.misfit_size_share * mean_radius_mm(o) &&
           steepest_slope(spot) < needed * left * steepest_slope(o);
  });
}

bool may_be_rest_on_line(const ResidualField& field, const std::vector<FoundSpot>& accepted,
                         const SpotVector& spot, const Acceptance& acceptance) {
  if (share_on_line(field, spot) < acceptance.crossed_by_line) return false;
  return std::any_of(accepted.begin(), accepted.end(), [&](const FoundSpot& outer) {
    const SpotVector& o = outer.fit.spot;
    return RadiusIn(o)(spot[s_x], spot[s_y]) < acceptance.misfit_beside &&
           mean_radius_mm(spot) < mean_radius_mm(o) && share_on_line(field, o) >= acceptance.crossed_by_line;
  });
}

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

double near_paper_mm(const PanelScene& scene, double x_mm, double y_mm) {
  double nearest = 1e9;
  for (const RectangleMm& paper : scene.problem->card.paper) {
    const double s = scene.problem->card_scale;
    const double dx = std::max({paper.x0_mm * s - x_mm, 0.0, x_mm - paper.x1_mm * s});
    const double dy = std::max({paper.y0_mm * s - y_mm, 0.0, y_mm - paper.y1_mm * s});
    nearest = std::min(nearest, std::hypot(dx, dy));
  }
  return nearest;
}

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

}  // namespace ripplegauge
