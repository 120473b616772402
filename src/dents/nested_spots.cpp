// An over-pull leaves a high in a low, or the other way round. The outer spot is fitted to its rim alone, the
// inner one to what that leaves over in the middle; then each in turn, with the other explained.
#include "nested_spots.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "patches.hpp"

namespace ripplegauge {
namespace {

/// Mean squared whitened residual inside the spot above that of the ring around it; limited so that a few
/// loud pixels do not decide.
double excess(const Patch& patch, const SpotFit& fit, bool highlight, const SpotVector& where) {
  const std::vector<float> residuals = whitened_residuals(patch, fit.spot, fit.drift, highlight);
  constexpr double limit = 5;
  double inside = 0, around = 0;
  int inside_count = 0, around_count = 0;
  for (std::size_t i = 0; i < residuals.size(); ++i) {
    const double bounded = std::clamp<double>(residuals[i], -limit, limit);
    const double rho = std::hypot(patch.pixel[i].x_mm - where[s_x], patch.pixel[i].y_mm - where[s_y]) /
                       mean_radius_mm(where);
    if (rho < 1.1) inside += bounded * bounded, ++inside_count;
    if (rho > 1.3) around += bounded * bounded, ++around_count;
  }
  if (inside_count == 0 || around_count == 0) return 0;
  return inside / inside_count - around / around_count;
}

/// Whether the two together make a dimple: nearer to flat in the inner one's middle than nearly all round its
/// edge. A flat top or a kidney does not.
bool makes_a_dimple(const SpotVector& outer, const SpotVector& inner) {
  const double x = inner[s_x], y = inner[s_y], radius = mean_radius_mm(inner);
  const double sign = outer[s_height] > 0 ? 1 : -1;
  const double middle = sign * (height_of(outer, x, y) + height_of(inner, x, y));
  constexpr int directions = 16, enough = 13;
  int further_out = 0;
  for (int i = 0; i < directions; ++i) {
    const double angle = 2 * std::numbers::pi * i / directions;
    further_out +=
        sign * height_of(outer, x + radius * std::cos(angle), y + radius * std::sin(angle)) > middle;
  }
  return further_out >= enough;
}

bool lies_inside(const SpotVector& outer, const SpotVector& inner, const NestingOptions& options) {
  const double distance = std::hypot(inner[s_x] - outer[s_x], inner[s_y] - outer[s_y]);
  const double outer_mm = mean_radius_mm(outer), inner_mm = mean_radius_mm(inner);
  return outer[s_height] * inner[s_height] < 0 && distance + inner_mm < outer_mm &&
         inner_mm > options.min_inner_mm && inner_mm < options.max_inner_share * outer_mm &&
         makes_a_dimple(outer, inner);
}

/// The outer spot from its rim alone, the inner one from what that leaves over in the middle. Absent where
/// there is too little to see.
std::optional<NestedPair> start_with(const PanelScene& scene, const SpotVector& single,
                                     const std::vector<SpotVector>& others, double inner_share) {
  // The outlines are good: half the starts do, and all of them are worth finishing.
  const SpotSearchOptions options = search_in(scene, any_fit, 0.5);
  const double radius = mean_radius_mm(single);
  const Patch rim = patch_without(scene, single, others, {single[s_x], single[s_y], inner_share * radius});
  if (rim.size() < scene.options.effort.min_pixels) return std::nullopt;
  NestedPair pair;
  pair.outer = search_spot(rim, outline_of(single), options);
  if (pair.outer.search_cost >= 1e300) return std::nullopt;
  pair.outer.spot = polish_spot(some_pixels(rim), pair.outer.spot, false, 10).spot;

  Patch middle = patch_for(scene, single, others, 1.0, 6000);
  explain(middle, pair.outer.spot);
  const Outline guess{single[s_x], single[s_y], 0.7 * inner_share * radius, 1, 0};
  Outline outline = sharpen_outline(middle, guess);
  if (!(outline.radius_mm > 0.5 * scene.options.nesting.min_inner_mm && outline.radius_mm < 0.7 * radius &&
        outline.elongation < 3))
    outline = guess;
  pair.inner = search_spot(middle, outline, options);
  if (pair.inner.search_cost >= 1e300) return std::nullopt;
  return pair;
}

/// In turn, each with the other one explained, as long as there is hope to stay below `alone`. Returns what
/// the two leave over.
double polish_in_turn(const Patch& whole, const SpotVector& single, double alone, double hopeless,
                      NestedPair& pair) {
  constexpr int sweeps = 4, iterations = 12;
  bool highlight = false;
  double left = 0;
  for (int sweep = 0; sweep < sweeps && left < hopeless * alone; ++sweep) {
    Patch patch = whole;
    explain(patch, pair.inner.spot);
    pair.outer = polish_with_fitting_light(patch, pair.outer, highlight, iterations);
    patch = whole;
    explain(patch, pair.outer.spot);
    pair.inner = polish_with_fitting_light(patch, pair.inner, highlight, iterations);
    left = excess(patch, pair.inner, highlight, single);
  }
  return left;
}

/// Both at once: in turn they creep towards their heights, since each explains some of the other's.
void polish_at_once(const Patch& whole, NestedPair& pair) {
  constexpr int until_settled = 40;
  const SpotSum both =
      polish_sum(whole, {pair.outer.spot, pair.inner.spot, pair.outer.drift}, false, until_settled);
  if (!still_itself(both.first, pair.outer.spot) || !still_itself(both.second, pair.inner.spot)) return;
  pair.outer.spot = both.first;
  pair.inner.spot = both.second;
}

}  // namespace

std::optional<NestedPair> find_nested(const PanelScene& scene, const SpotVector& single,
                                      const std::vector<SpotVector>& others) {
  const NestingOptions& options = scene.options.nesting;
  if (mean_radius_mm(single) < options.min_outer_mm) return std::nullopt;
  const Patch whole = patch_for(scene, single, others, 2.0, 10000);
  if (whole.size() < options.min_pixels) return std::nullopt;
  bool highlight = false;
  SpotFit start;
  start.spot = single;
  const SpotFit alone = polish_with_fitting_light(whole, start, highlight, 14);

  const double left_alone = excess(whole, alone, highlight, single);
  if (left_alone < options.worth_a_look) return std::nullopt;

  std::optional<NestedPair> best;
  double least = options.clearly_better * left_alone;
  for (const double inner_share : {0.3, 0.5}) {
    auto pair = start_with(scene, single, others, inner_share);
    if (!pair) continue;
    const double left = polish_in_turn(whole, single, left_alone, options.hopeless, *pair);
    if (left > least) continue;
    polish_at_once(whole, *pair);
    if (!lies_inside(pair->outer.spot, pair->inner.spot, options)) continue;
    least = left;
    best = pair;
  }
  return best;
}

}  // namespace ripplegauge
