// Outline, starts, fits, rivals, judgement: the way of one disturbance. Whoever calls decides by the
// judgement whether the spot is believed.
#include "attempt.hpp"

#include <algorithm>
#include <cmath>
#include <span>
#include <utility>

#include "acceptance.hpp"
#include "dents/loudness.hpp"
#include "relief/surface_fit.hpp"
#include "spot_problem.hpp"
#include "worth_trying.hpp"

namespace ripplegauge {
namespace {

constexpr std::size_t pixels_to_judge = 4000;

/// Cost of a fit under the patch's whitening, on a scale that all whitenings share: minus a log likelihood.
double log_cost(const Patch& patch, const SpotFit& fit) {
  double logs = 0;
  for (const float w : patch.whitening) logs += std::log(w);
  return fit.cost - patch.effective_pixel_share * logs;
}

/// By how much one spot must beat another, in log likelihood, to be surely the better one, by as many samples
/// as there are independent ones.
double surely(const Patch& patch, const SpotFit& fit, bool highlight, double log_odds) {
  const double block_mm = std::max({0.8, 0.25 * mean_radius_mm(fit.spot), patch.peel_cell_mm});
  const PixelArrays pixels = some_pixels(patch);
  const LightFit light = light_under(pixels, std::span(&fit.spot, 1), fit.drift, highlight);
  constexpr double everywhere_mm = 1e3;
  return log_odds * score_inflation(pixels, light, block_mm, 0, 0, 0, everywhere_mm) *
         patch.effective_pixel_share;
}

/// The search's best or one of its rivals, whichever explains the stripes best when each is looked at
/// closely. Leaves the patch so for it.
SpotFit settle_rivals(Patch& patch, const SpotFit& search, double sure_log_odds) {
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
    SpotFit fit = polish_spot(some_pixels(patch, pixels_to_judge), r.spot, highlight, iterations);
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
  best.sign_settled = gap < 1e299 && gap > surely(patch, best, highlight, sure_log_odds);
  return best;
}

/// Polishes what a search found, where it explains anything at all and is nearly what must be shown, and
/// judges it.
Attempt finish_attempt(const PanelScene& scene, Patch& patch, const SpotFit& search) {
  const EffortOptions& effort = scene.options.effort;
  Attempt result;
  if (search.search_cost >= 1e300) return result;
  bool highlight = false;
  result.fit = settle_rivals(patch, search, effort.sure_log_odds);
  result.judgement = judge(patch, result.fit, highlight, scene.pixels_per_mm);
  if (result.judgement.explained > effort.hopeless_explained) {
    const std::vector<double> costs = undisturbed_costs(patch);
    const WorthFinishing worth = worth_finishing(patch, costs, outline_of(result.fit.spot), scene.options);
    result.moves_little = !worth(result.fit.spot, effort.finish_share);
  }
  if (result.judgement.explained > effort.hopeless_explained && !result.moves_little) {
    result.fit = polish_with_fitting_light(patch, result.fit, highlight, 14, pixels_to_judge);
    result.judgement = judge(patch, result.fit, highlight, scene.pixels_per_mm);
  }
  result.usable = true;
  return result;
}

/// The outline as the pixels draw it; the rough one where that makes no sense.
Outline sharpened(const Patch& patch, const std::vector<double>& costs, const Outline& rough,
                  double rough_excess, const EffortOptions& effort) {
  const Outline outline = sharpen_outline(patch, rough);
  const double moved_mm = std::hypot(outline.x_mm - rough.x_mm, outline.y_mm - rough.y_mm);
  // Where light changes nearby, the split can fall between bright and dark panel instead.
  const bool lost = rough_excess > 0 && summed_excess(patch, costs, outline) <= 0;
  const bool an_outline = outline.radius_mm > effort.min_outline_mm &&
                          outline.radius_mm < effort.max_outline_mm &&
                          outline.elongation < effort.max_outline_elongation;
  return an_outline && moved_mm <= effort.max_outline_move * longest_of(rough) && !lost ? outline : rough;
}

/// Searches about the sharpened outline, and about the rough one, too, where the two disagree in size.
SpotFit search_about(const PanelScene& scene, const Patch& patch, const std::vector<double>& costs,
                     const Outline& outline, const Outline& rough) {
  const DentOptions& o = scene.options;
  SpotFit search = search_spot(patch, outline, search_in(scene, worth_finishing(patch, costs, outline, o)));
  if (outline.radius_mm >= o.effort.outline_shrunk * rough.radius_mm &&
      outline.radius_mm <= o.effort.outline_grown * rough.radius_mm)
    return search;
  Outline other = outline;
  other.radius_mm = 0.8 * rough.radius_mm;
  other.x_mm = rough.x_mm, other.y_mm = rough.y_mm;
  const SpotFit second =
      search_spot(patch, other, search_in(scene, worth_finishing(patch, costs, other, o), 0.5));
  return second.search_cost < search.search_cost ? second : search;
}

/// A fit polished and judged once more, with nothing left out of what it covers.
Attempt judged_whole(const PanelScene& scene, const Attempt& a, std::vector<Disc> leave_out,
                     const std::vector<SpotVector>& explained) {
  const SpotVector& spot = a.fit.spot;
  std::erase_if(leave_out, [covers = RadiusIn(spot)](const Disc& d) { return covers(d.x_mm, d.y_mm) < 1; });
  Patch patch = patch_about(scene, outline_of(spot), half_round(scene, half_length_mm(spot), 1.6),
                            pixels_of_patch, leave_out, explained);
  if (patch.size() == 0) return {};
  look_closely(patch, spot);
  bool highlight = false;
  Attempt whole{polish_with_fitting_light(patch, a.fit, highlight, 14, pixels_to_judge), {}, true};
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

}  // namespace

double credit(const SpotJudgement& j) {
  return j.explained - j.quiet_level / std::max(j.disturbed_level, 1e-9);
}

Attempt attempt(const PanelScene& scene, const Outline& rough, const std::vector<Disc>& leave_out,
                const std::vector<SpotVector>& explained) {
  const DentOptions& o = scene.options;
  constexpr std::size_t pixels_of_outline = 5000;
  Attempt result;
  Patch patch = patch_about(scene, rough, half_round(scene, longest_of(rough), 1.7, 0.9), pixels_of_outline,
                            leave_out, explained);
  result.looked_at.push_back(looked_at(patch));
  if (patch.size() < o.effort.min_pixels) return result;
  // What is as quiet as its ring can be sharpened to nothing; what is quieter may lie beside what it is
  // about.
  const std::vector<double> first_costs = undisturbed_costs(patch);
  const double rough_excess = summed_excess(patch, first_costs, rough);
  if (std::abs(rough_excess) < o.effort.excess_share_of_outline * o.acceptance.min_summed_excess)
    return result;
  const Outline outline = sharpened(patch, first_costs, rough, rough_excess, o.effort);
  patch = patch_about(scene, outline, half_round(scene, longest_of(outline), 1.6), pixels_of_patch, leave_out,
                      explained);
  result.looked_at.push_back(looked_at(patch));
  if (patch.size() < o.effort.min_pixels) return result;
  const std::vector<double> costs = undisturbed_costs(patch);
  if (summed_excess(patch, costs, outline) <= o.effort.excess_share_of_fit * o.acceptance.min_summed_excess)
    return result;
  Attempt finished = finish_attempt(scene, patch, search_about(scene, patch, costs, outline, rough));
  finished.looked_at = std::move(result.looked_at);
  return finished;
}

Attempt wide_attempt(const PanelScene& scene, const Outline& rough, const std::vector<Disc>& leave_out,
                     const std::vector<SpotVector>& explained, const std::vector<double>& scales) {
  const DentOptions& o = scene.options;
  constexpr double least_mm = 1.5;  // of an outline: smaller ones are specks
  Attempt best;
  for (const double scale : scales) {
    Outline outline = rough;
    outline.radius_mm = scale * rough.radius_mm;
    if (outline.radius_mm < least_mm) break;
    Patch patch = patch_about(scene, outline, half_round(scene, longest_of(outline), 1.7), pixels_of_patch,
                              leave_out, explained);
    if (patch.size() < o.effort.min_pixels) continue;
    const std::vector<double> costs = undisturbed_costs(patch);
    const SpotFit search =
        search_spot_widely(patch, outline, search_in(scene, worth_finishing(patch, costs, outline, o)));
    const Attempt a = finish_attempt(scene, patch, search);
    if (a.usable && (!best.usable || credit(a.judgement) > credit(best.judgement))) best = a;
    if (best.usable && credit(best.judgement) > o.effort.found_credit) break;
  }
  return best;
}

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

Attempt attempt_beside_others(const PanelScene& scene, const Outline& outline,
                              const std::vector<Candidate>& all, const std::vector<SpotVector>& explained) {
  const EffortOptions& effort = scene.options.effort;
  const std::vector<Disc> others = other_candidates(all, outline);
  Attempt a = attempt(scene, outline, others, explained);
  if (others.empty()) return a;
  if (!a.usable) return attempt(scene, outline, {}, explained);
  const bool believed = believable(scene, a, outline);
  if (believed ? a.judgement.opposite_ratio >= effort.nearly_as_well ||
                     !any_on_its_stripes(scene, a.fit.spot, others)
               : a.judgement.cut_share <= effort.hidden_share)
    return a;
  std::vector<LookedAt> squares = a.looked_at;
  if (!believed) {
    Attempt whole = judged_whole(scene, a, others, explained);
    if (believable(scene, whole, outline)) return whole;
    if (whole.usable) squares = whole.looked_at;
  }
  Attempt alone = attempt(scene, outline, {}, explained);
  alone.looked_at.insert(alone.looked_at.end(), squares.begin(), squares.end());
  return alone;
}

Attempt judged_sum(const PanelScene& scene, const SpotSum& sum, const SpotFit& single,
                   const std::vector<SpotVector>& others) {
  const Patch patch = patch_for(scene, sum, others, pixels_of_patch);
  bool highlight = false;
  SpotFit first = single;
  first.spot = sum.first, first.drift = sum.drift;
  return {first, judge(patch, sum, single, highlight, scene.pixels_per_mm), patch.size() > 0};
}

Attempt judged_among(const PanelScene& scene, const SpotFit& fit, const std::vector<SpotVector>& others) {
  const Patch patch = patch_for(scene, fit.spot, others, 2.0, pixels_of_patch);
  bool highlight = false;
  Attempt judged{polish_with_fitting_light(patch, fit, highlight, 4), {}, patch.size() > 0};
  judged.judgement = judge(patch, judged.fit, highlight, scene.pixels_per_mm);
  return judged;
}

}  // namespace ripplegauge
