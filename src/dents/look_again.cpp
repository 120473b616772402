// The first look at a spot knew only those found before it. Now each can be asked again whether it needs two
// spots to be explained, or whether two are one.
#include "look_again.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <optional>

#include "acceptance.hpp"
#include "attempt.hpp"
#include "relief/spot_geometry.hpp"
#include "spot_sum.hpp"
#include "worth_trying.hpp"

namespace ripplegauge {
namespace {

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

}  // namespace

void join_touching(const PanelScene& scene, std::vector<FoundSpot>& spots) {
  for (std::size_t i = 0; i < spots.size(); ++i)
    for (std::size_t j = i + 1; j < spots.size(); ++j) {
      if (is_nested(spots, i) || is_nested(spots, j) || spots[i].second || spots[j].second) continue;
      const SpotVector &a = spots[i].fit.spot, &b = spots[j].fit.spot;
      if (std::hypot(a[s_x] - b[s_x], a[s_y] - b[s_y]) > half_length_mm(a) + half_length_mm(b)) continue;
      const std::vector<SpotVector> others = all_but(spots, i, j);
      const auto one = one_for_two(scene, a, b, others);
      if (!one) continue;
      bool highlight = false;
      const Patch patch = patch_for(scene, one->spot, others, 2.0, pixels_of_patch);
      const Attempt joined{*one, judge(patch, *one, highlight, scene.pixels_per_mm), patch.size() > 0};
      if (!believable(scene, joined, outline_of(one->spot))) continue;
      spots[i] = {joined.fit, joined.judgement, std::nullopt, std::nullopt};
      spots.erase(spots.begin() + static_cast<std::ptrdiff_t>(j));
      for (FoundSpot& s : spots)
        if (s.inside_of && *s.inside_of > j) --*s.inside_of;
      --j;
    }
}

void look_again(const PanelScene& scene, std::vector<FoundSpot>& spots) {
  const EffortOptions& effort = scene.options.effort;
  for (std::size_t i = 0; i + 1 < spots.size(); ++i) {
    FoundSpot& found = spots[i];
    if (is_nested(spots, i) || (!found.second && found.judgement.explained > effort.well_explained)) continue;
    const std::vector<SpotVector> others = all_but(spots, i, i);
    const Outline outline = contour_of(found);
    Attempt again = attempt(scene, outline, {}, others);
    constexpr double not_known = 0;
    if (worth_more_starts(scene, again, outline, not_known)) {
      const Attempt widely = wide_attempt(scene, outline, {}, others);
      if (widely.usable && credit(widely.judgement) > credit(again.judgement)) again = widely;
    }
    const bool better = found.second ? again.judgement.explained > found.judgement.explained - effort.as_well
                                     : again.judgement.explained > found.judgement.explained;
    if (better && believable(scene, again, outline))
      found = {again.fit, again.judgement, std::nullopt, std::nullopt};
  }
}

}  // namespace ripplegauge
