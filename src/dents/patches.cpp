// The pixels that fits look at: a square about a spot, thinned, in which what is known already counts as the
// panel's own shape.
#include "patches.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>

namespace ripplegauge {

double longest_of(const Outline& o) { return o.radius_mm * std::sqrt(o.elongation); }

double half_round(const PanelScene& scene, double longest_mm, double reach, double periods) {
  return std::max(reach * longest_mm, longest_mm + periods * scene.field->period_mm);
}

LookedAt looked_at(const Patch& patch) {
  constexpr double drowned = 0.05;  // in orange peel, of which a patch has many cells
  return {patch.x_mm, patch.y_mm, patch.half_mm,
          drowned * patch.jitter_cycles() / std::max(patch.gain, 1e-9)};
}

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

Patch patch_about(const PanelScene& scene, const Outline& outline, double half_mm, std::size_t max_pixels,
                  const std::vector<Disc>& leave_out, const std::vector<SpotVector>& explained) {
  constexpr double largest_half_mm = 65;  // beyond, crown and light are more than the patch's terms describe
  PatchRequest request;
  request.x_mm = outline.x_mm;
  request.y_mm = outline.y_mm;
  request.half_mm = std::min(half_mm, largest_half_mm);
  request.step_mm =
      std::max(1 / scene.pixels_per_mm, 2 * request.half_mm / std::sqrt(static_cast<double>(max_pixels)));
  request.max_pixels = max_pixels;
  request.threads = scene.threads;
  Patch patch = make_patch(*scene.grey, *scene.problem, scene.parameters, *scene.field, request, leave_out,
                           scene.pixels_per_mm);
  patch.work = scene.work;
  if (patch.size() == 0) return patch;
  std::vector<SpotVector> near;
  std::copy_if(explained.begin(), explained.end(), std::back_inserter(near),
               [square = looked_at(patch)](const SpotVector& spot) { return reaches(spot, square); });
  if (!near.empty()) explain(patch, near);
  return patch;
}

void look_closely(Patch& patch, const SpotVector& spot) {
  soften(patch, spot);
  set_whitening(patch, spot);
}

Patch patch_for(const PanelScene& scene, const SpotVector& spot, const std::vector<SpotVector>& others,
                double reach, std::size_t max_pixels) {
  const double half = half_round(scene, half_length_mm(spot), reach);
  Patch patch = patch_about(scene, outline_of(spot), half, max_pixels, {}, others);
  if (patch.size() > 0) set_whitening(patch, spot);
  return patch;
}

Patch patch_for(const PanelScene& scene, const SpotSum& sum, const std::vector<SpotVector>& others,
                std::size_t max_pixels) {
  const double apart = std::hypot(sum.first[s_x] - sum.second[s_x], sum.first[s_y] - sum.second[s_y]);
  const double half =
      half_round(scene, std::max(half_length_mm(sum.first), 0.5 * apart + half_length_mm(sum.second)), 2.0);
  Patch patch = patch_about(scene, outline_of(sum.first), half, max_pixels, {}, others);
  if (patch.size() > 0) set_whitening(patch, std::array{sum.first, sum.second});
  return patch;
}

Patch patch_without(const PanelScene& scene, const SpotVector& spot, const std::vector<SpotVector>& others,
                    const Disc& disc) {
  const double half = half_round(scene, half_length_mm(spot), 1.7);
  return patch_about(scene, outline_of(spot), half, 6000, {disc}, others);
}

}  // namespace ripplegauge
