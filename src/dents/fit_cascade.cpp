// Fits cost time, and most starts are wrong. Each stage has more pixels, more freedom and fewer candidates
// than the one before, and keeps the best of every basin and of both signs.
#include "fit_cascade.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <utility>

#include "core/parallel_for.hpp"
#include "dents/loudness.hpp"

namespace ripplegauge {

FitOutcome fit(const PixelArrays& pixels, const SpotVector& start, const FitRequest& request) {
  return fit_spots(pixels, std::span(&start, 1), request);
}

std::vector<int> search_pixels(const Patch& patch, const Outline& outline, std::size_t wanted) {
  std::vector<int> inside, around;
  const double c = std::cos(outline.angle_rad), s = std::sin(outline.angle_rad),
               e = std::sqrt(outline.elongation);
  constexpr double reach = 1.2;
  for (std::size_t i = 0; i < patch.size(); ++i) {
    const double dx = patch.pixel[i].x_mm - outline.x_mm, dy = patch.pixel[i].y_mm - outline.y_mm;
    const double u = (c * dx + s * dy) / e, v = (c * dy - s * dx) * e;
    const bool is_inside = u * u + v * v < std::pow(reach * outline.radius_mm, 2);
    (is_inside ? inside : around).push_back(static_cast<int>(i));
  }
  std::vector<int> chosen;
  const auto take = [&](const std::vector<int>& from, std::size_t n) {
    const std::vector<int> some = spread_evenly(from, n);
    chosen.insert(chosen.end(), some.begin(), some.end());
  };
  take(inside, wanted * 2 / 3);
  take(around, wanted / 3);
  std::sort(chosen.begin(), chosen.end());
  chosen.erase(std::unique(chosen.begin(), chosen.end()), chosen.end());
  return chosen;
}

std::span<const UnitSpot> few_shapes() {
  static const std::array<UnitSpot, 4> shapes{UnitSpot(2, 40), UnitSpot(2, 2.1), UnitSpot(2.6, 20),
                                              UnitSpot(4, 20)};
  return shapes;
}

double undisturbed_period_mm(const Patch& patch) {
  const MirrorPixel& p = patch.pixel[patch.size() / 2];
  return 1 / std::max(std::hypot(p.phase_x, p.phase_y), 1e-6F);
}

namespace {

bool better(const FitOutcome& a, const FitOutcome& b) { return a.cost < b.cost; }

/// Where the first one of the other sign stands.
std::vector<FitOutcome>::const_iterator of_other_sign(const std::vector<FitOutcome>& all,
                                                      const SpotVector& spot) {
  return std::find_if(all.begin(), all.end(),
                      [&](const FitOutcome& o) { return o.spot()[s_height] * spot[s_height] < 0; });
}

/// Whether fits of the two would end at the same spot: alike in size, height, sign and place.
bool same_basin(const SpotVector& a, const SpotVector& b, const StartOptions& options) {
  return std::abs(a[s_height] / b[s_height] - 1) < options.basin_height &&
         std::abs(std::log(mean_radius_mm(a) / mean_radius_mm(b))) < options.basin_size &&
         std::hypot(a[s_x] - b[s_x], a[s_y] - b[s_y]) < options.basin_place * mean_radius_mm(b);
}

/// The best of different basins, at most so many, best first; and the best of the other sign, which always
/// gets its chance: sign is what must not be wrong.
std::vector<SpotVector> leading(const std::vector<FitOutcome>& sorted, std::size_t most,
                                const StartOptions& options) {
  std::vector<SpotVector> chosen;
  for (const FitOutcome& o : sorted) {
    if (std::any_of(chosen.begin(), chosen.end(),
                    [&](const SpotVector& c) { return same_basin(o.spot(), c, options); }))
      continue;
    chosen.push_back(o.spot());
    if (chosen.size() == most) break;
  }
  if (std::any_of(chosen.begin(), chosen.end(),
                  [&](const SpotVector& s) { return s[s_height] * chosen.front()[s_height] < 0; }))
    return chosen;
  if (const auto other = of_other_sign(sorted, chosen.front()); other != sorted.end())
    chosen.push_back(other->spot());
  return chosen;
}

/// Of fits, best first, those that may still become the best.
std::vector<FitOutcome> contenders(std::vector<FitOutcome> sorted, double out_of_reach) {
  const double least = sorted.front().cost;
  std::erase_if(sorted, [&](const FitOutcome& o) { return o.cost > out_of_reach * least; });
  return sorted;
}

/// The best spot in other shapes: its exponents may have stuck.
std::vector<SpotVector> reshaped(const SpotVector& spot) {
  std::vector<SpotVector> shapes;
  for (const UnitSpot& unit : few_shapes()) {
    SpotVector other = spot;
    other[s_log_p] = std::log(unit.power()), other[s_log_n] = std::log(unit.order());
    other[s_slant_u] *= 0.5, other[s_slant_v] *= 0.5;
    shapes.push_back(other);
  }
  return shapes;
}

/// Spots of other sizes, heights and signs about one: where a spot folds the stripes, others move them to
/// nearly the same places, one of the other sign among them.
std::vector<SpotVector> relatives(const SpotVector& spot) {
  std::vector<SpotVector> others;
  for (const double size : {0.75, 1.0, 1.35})
    for (const double height : {-1.4, -0.8, 0.7, 1.6}) {
      SpotVector other = spot;
      other[s_log_a] += std::log(size), other[s_log_b] += std::log(size);
      other[s_height] *= height * size;
      others.push_back(other);
    }
  return others;
}

/// The best of other basins (size, order, sign) that come nearly as low as the first.
std::vector<SpotFit::Rival> rivals_of_first(const std::vector<FitOutcome>& sorted,
                                            const StartOptions& options) {
  std::vector<SpotFit::Rival> rivals;
  for (const FitOutcome& o : sorted) {
    if (o.cost > options.rival_cost * sorted.front().cost || rivals.size() == options.max_rivals) break;
    if (same_basin(o.spot(), sorted.front().spot(), options)) continue;
    if (std::any_of(rivals.begin(), rivals.end(),
                    [&](const SpotFit::Rival& r) { return same_basin(o.spot(), r.spot, options); }))
      continue;
    rivals.push_back({o.spot(), o.cost});
  }
  return rivals;
}

/// Whether the best fit leaves no more than noise does of what it explains, and the best of the other sign
/// far more: then there is nothing that a better one could explain.
bool leaves_nothing(const PixelArrays& pixels, bool highlight, const std::vector<FitOutcome>& sorted,
                    const StartOptions& options) {
  const SpotVector& best = sorted.front().spot();
  if (2 * mean_radius_mm(best) < options.few_edges_periods * undisturbed_period_mm(*pixels.patch))
    return false;
  SpotVector none = best;
  none[s_height] = 0;
  const auto loudness_under = [&](const SpotVector& spot, bool with_highlight) {
    const LightFit light = light_under(pixels, std::span(&spot, 1), Eigen::Vector3d::Zero(), with_highlight);
    return loudness(best, robust_costs(light.residual), [&](std::size_t i) {
      return std::pair(pixels.geometry->x_mm[i], pixels.geometry->y_mm[i]);
    });
  };
  const Loudness with = loudness_under(best, highlight), without = loudness_under(none, false);
  const double quiet = std::min(with.around, with.beyond), loudest = std::max(with.inside, with.around);
  if (std::max(loudest, with.beyond) > options.noise_level ||
      loudest - quiet > options.hardly_any * (without.inside - quiet))
    return false;
  const auto other = of_other_sign(sorted, best);
  return other != sorted.end() && other->cost - sorted.front().cost > options.surely_worse * loudest *
                                                                          with.inside_count *
                                                                          importance_of(pixels);
}

/// Short fits of all starts, longer ones of the better half of each group, full fits of the best, other
/// shapes about the best of those. Ends early where none is worth going on with.
class FitCascade {
 public:
  FitCascade(const Patch& patch, const Outline& outline, const std::vector<int>& coarse,
             const SpotSearchOptions& options)
      : patch_(patch), outline_(outline), coarse_(coarse), options_(options), starts_(options.starts) {}

  SpotFit run(const std::vector<std::vector<Start>>& groups) const {
    SpotFit result;
    if (groups.front().empty()) return result;
    std::vector<SpotVector> from = spots_of(groups.front());
    result.spot = from.front();
    if (hopeless(from, starts_.rough_share)) return result;
    from = best_of_short_fits(groups);
    result.spot = from.front();
    if (hopeless(from, starts_.short_fit_share)) return result;
    const PixelArrays longer = gather(patch_, coarse_);
    const std::vector<FitOutcome> plain = fit_all(longer, from, {but_few, false, false, 6}),
                                  shiny = fit_all(longer, from, {but_few, false, highlight, 6});
    from = best_of_both(plain, shiny);
    result.spot = from.front();
    if (hopeless(leading_contenders(plain), starts_.long_fit_share)) return result;
    const PixelArrays fine = gather(patch_, search_pixels(patch_, outline_, starts_.pixels_of_full_fits));
    std::vector<FitOutcome> full = fit_all(fine, from, {all_parameters, false, highlight, 14});
    result.spot = full.front().spot();
    if (hopeless(leading_contenders(full), starts_.full_fit_share)) return result;
    if (!leaves_nothing(fine, highlight, full, starts_)) add_fits_about_best(fine, full);
    settle_signs(fine, full);
    result.spot = full.front().spot();
    result.search_cost = result.cost = full.front().cost;
    if (const auto other = of_other_sign(full, result.spot); other != full.end())
      result.opposite_cost = other->cost;
    result.rivals = rivals_of_first(full, starts_);
    return result;
  }

 private:
  static constexpr bool highlight = true;  // of metallic paint: without it a wrong spot may explain more
  inline static const std::vector<int> but_few{s_x, s_y, s_log_a, s_log_b, s_angle, s_height, s_log_n};

  static std::vector<SpotVector> spots_of(const std::vector<Start>& group) {
    std::vector<SpotVector> spots;
    for (const Start& s : group) spots.push_back(s.spot);
    return spots;
  }

  bool hopeless(std::span<const SpotVector> spots, double share) const {
    const auto best = spots.first(std::min(spots.size(), starts_.few_best));
    return std::none_of(best.begin(), best.end(),
                        [&](const SpotVector& s) { return options_.worth_finishing(s, share); });
  }

  /// Best first.
  std::vector<FitOutcome> fit_all(const PixelArrays& pixels, const std::vector<SpotVector>& from,
                                  const FitRequest& request) const {
    std::vector<FitOutcome> outcomes(from.size());
    parallel_for(from.size(), options_.threads,
                 [&](std::size_t i) { outcomes[i] = fit(pixels, from[i], request); });
    std::sort(outcomes.begin(), outcomes.end(), better);
    return outcomes;
  }

  std::vector<SpotVector> leading_contenders(const std::vector<FitOutcome>& sorted) const {
    return leading(contenders(sorted, starts_.out_of_reach), starts_.few_best, starts_);
  }

  std::vector<SpotVector> best_of_short_fits(const std::vector<std::vector<Start>>& groups) const {
    const PixelArrays half = gather(patch_, spread_evenly(coarse_, coarse_.size() / 2));
    std::vector<SpotVector> all;
    for (const std::vector<Start>& group : groups) {
      if (group.empty()) continue;
      const std::vector<FitOutcome> fits =
          fit_all(half, spots_of(group), {{s_x, s_y, s_log_a, s_log_b, s_angle, s_height}, false, false, 5});
      const std::vector<SpotVector> some =
          leading(fits, std::max(group.size() / 2, starts_.few_best), starts_);
      all.insert(all.end(), some.begin(), some.end());
    }
    return all;
  }

  std::vector<SpotVector> best_of_both(const std::vector<FitOutcome>& plain,
                                       const std::vector<FitOutcome>& shiny) const {
    std::vector<SpotVector> best = leading(plain, starts_.few_best, starts_);
    for (const SpotVector& s : leading(shiny, starts_.few_best / 2, starts_))
      if (std::none_of(best.begin(), best.end(),
                       [&](const SpotVector& o) { return same_basin(s, o, starts_); }))
        best.push_back(s);
    return best;
  }

  void add_fits_about_best(const PixelArrays& fine, std::vector<FitOutcome>& full) const {
    std::vector<SpotVector> from = reshaped(full.front().spot());
    const std::vector<SpotVector> like_it = relatives(full.front().spot());
    from.insert(from.end(), like_it.begin(), like_it.end());
    add(fine, from, {all_parameters, false, highlight, 14}, full);
  }

  /// The best of each sign go on until they are as good as they get.
  void settle_signs(const PixelArrays& fine, std::vector<FitOutcome>& full) const {
    std::vector<SpotVector> from{full.front().spot()};
    if (const auto other = of_other_sign(full, from.front()); other != full.end())
      from.push_back(other->spot());
    add(fine, from, {all_parameters, false, highlight, 40}, full);
  }

  void add(const PixelArrays& pixels, const std::vector<SpotVector>& from, const FitRequest& request,
           std::vector<FitOutcome>& full) const {
    const std::vector<FitOutcome> more = fit_all(pixels, from, request);
    full.insert(full.end(), more.begin(), more.end());
    std::sort(full.begin(), full.end(), better);
  }

  const Patch& patch_;
  const Outline& outline_;
  const std::vector<int>& coarse_;
  const SpotSearchOptions& options_;
  const StartOptions& starts_;
};

}  // namespace

SpotFit best_of_starts(const Patch& patch, const Outline& outline, const std::vector<int>& coarse,
                       const SpotSearchOptions& options, const std::vector<std::vector<Start>>& groups) {
  return FitCascade(patch, outline, coarse, options).run(groups);
}

}  // namespace ripplegauge
