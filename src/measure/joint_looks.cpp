// Each photo of a set keeps its own geometry, light and noise; only the dent is common.
#include "joint_looks.hpp"

#include <algorithm>
#include <cmath>
#include <span>

#include "geometry_uncertainty.hpp"

namespace ripplegauge {

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

Parts seen_by(const SetLook& look, const Parts& parts) {
  Parts seen;
  for (const SpotVector& part : parts) seen.push_back(seen_with(look.shift, part));
  return seen;
}

void look_closely(Patch& patch, const Parts& parts) {
  soften(patch, parts);
  set_whitening(patch, std::span<const SpotVector>(parts));
}

double whitening_cost(const Patch& patch) {
  double logs = 0;
  for (const float w : patch.whitening) logs += std::log(w);
  return -patch.effective_pixel_share * logs;
}

void tie_geometry(SetLook& look, const SetView& view, double x_mm, double y_mm) {
  const FrameGradient by = frame_gradient(view.scene.problem->constants, view.bundle.parameters, x_mm, y_mm);
  const PanelVector step = -view.bundle.covariance * by.transpose() * look.covariance.inverse() * look.shift;
  look.scene.parameters += step;
  look.expected += by * step;
  look.shift += by * step;
}

SpotJudgement judged_by_look(const SetLook& look, const Parts& parts, bool highlight) {
  const Parts seen = seen_by(look, parts);
  SpotFit fit;
  fit.spot = seen.front(), fit.drift = look.drift;
  if (seen.size() == 1) return judge(look.patch, fit, highlight, look.scene.pixels_per_mm);
  SpotSum sum{seen[0], seen[1]};
  sum.drift = look.drift;
  return judge(look.patch, sum, fit, highlight, look.scene.pixels_per_mm);
}

double correlation_of(const SetLook& look, const Parts& parts, bool highlight) {
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

}  // namespace ripplegauge
