// The search for the basin of one spot. Stripes are alike, so the cost has a basin for every size, sign and
// fringe order. Very many cheap starts, short fits of the better ones, full fits of the best; and once more
// about what that finds.
#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <numbers>
#include <optional>
#include <span>

#include "radial_search.hpp"
#include "ripplegauge/core/parallel_for.hpp"
#include "ripplegauge/dents/loudness.hpp"
#include "ripplegauge/dents/spot_fit.hpp"
#include "spot_problem.hpp"

namespace ripplegauge {
namespace {

FitOutcome fit(const PixelArrays& pixels, const SpotVector& start, const FitRequest& request) {
  return fit_spots(pixels, std::span(&start, 1), request);
}

/// Pixels for the search: mostly inside the outline, thinly around it, by a fixed stride through a scrambled
/// order.
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

std::vector<double> geometric(double from, double to, double ratio) {
  std::vector<double> values;
  double v = from;
  while (v <= to) values.push_back(v), v *= ratio;
  return values;
}

/// The best starts, without those that would fall into the same basin; of each sign a few in any case.
std::vector<Start> distinct(std::vector<Start> starts, const Patch& patch, std::size_t keep) {
  std::sort(starts.begin(), starts.end(), [](const Start& a, const Start& b) { return a.cost < b.cost; });
  std::vector<Start> chosen;
  const std::size_t few = std::max<std::size_t>(keep / 4, 1);
  std::array<std::size_t, 2> of_sign{};
  for (const Start& s : starts) {
    std::size_t& of_this = of_sign[s.spot[s_height] > 0];
    if (chosen.size() >= keep && of_this >= few) continue;
    const auto same = [&](const Start& o) {
      const double cycles = 1.75 * patch.gain / mean_radius_mm(o.spot);
      const double difference = std::abs(s.spot[s_height] - o.spot[s_height]) * cycles;
      return difference < std::max(0.25, 0.25 * std::abs(o.spot[s_height]) * cycles * 0.3) &&
             std::abs(s.spot[s_log_a] - o.spot[s_log_a]) < 0.09 &&
             std::abs(elongation(s.spot) - elongation(o.spot)) < 0.1 &&
             std::abs(s.spot[s_log_p] - o.spot[s_log_p]) < 0.1 &&
             std::abs(s.spot[s_log_n] - o.spot[s_log_n]) < 0.5 &&
             std::hypot(s.spot[s_x] - o.spot[s_x], s.spot[s_y] - o.spot[s_y]) < 0.1 * mean_radius_mm(o.spot);
    };
    if (std::any_of(chosen.begin(), chosen.end(), same)) continue;
    chosen.push_back(s);
    ++of_this;
    if (chosen.size() >= keep && std::min(of_sign[0], of_sign[1]) >= few) break;
  }
  return chosen;
}

/// Of the spot family: a Gaussian, a flat-footed polynomial, two with flatter bottoms.
std::span<const UnitSpot> few_shapes() {
  static const std::array<UnitSpot, 4> shapes{UnitSpot(2, 40), UnitSpot(2, 2.1), UnitSpot(2.6, 20),
                                              UnitSpot(4, 20)};
  return shapes;
}

/// One for all.
std::span<const UnitSpot> usual_shape() {
  static const std::array<UnitSpot, 1> shape{UnitSpot(2, 20)};
  return shape;
}

/// Pixels for each stage of a search.
struct SearchPixels {
  std::vector<int> few, sparse, coarse;
};

std::optional<SearchPixels> pixels_for_search(const Patch& patch, const Outline& outline,
                                              const StartOptions& options) {
  SearchPixels pixels{{}, {}, search_pixels(patch, outline, options.pixels_of_short_fits)};
  if (pixels.coarse.size() < options.min_pixels) return std::nullopt;
  pixels.few = search_pixels(patch, outline, options.pixels_to_sift);
  pixels.sparse = search_pixels(patch, outline, options.pixels_to_rank);
  return pixels;
}

/// Starts about an outline: all are looked at among few pixels, the better ones ranked among more.
std::vector<Start> starts_about(const Patch& patch, const SearchPixels& pixels, const Outline& outline,
                                const std::vector<double>& radii, std::span<const UnitSpot> shapes,
                                const std::vector<double>& displacements, double better_share) {
  std::vector<Start> starts;
  RadialSearch(patch, pixels.few, outline).run(radii, shapes, displacements, starts);
  if (starts.empty()) return starts;
  std::vector<double> costs;
  costs.reserve(starts.size());
  for (const Start& s : starts) costs.push_back(s.cost);
  const auto last =
      costs.begin() + static_cast<std::ptrdiff_t>(better_share * static_cast<double>(costs.size()));
  std::nth_element(costs.begin(), last, costs.end());
  std::erase_if(starts, [worst = *last](const Start& s) { return s.cost > worst; });
  RadialSearch(patch, pixels.sparse, outline).weigh(shapes, starts);
  return starts;
}

/// Of the stripes in the middle of the patch.
double undisturbed_period_mm(const Patch& patch) {
  const MirrorPixel& p = patch.pixel[patch.size() / 2];
  return 1 / std::max(std::hypot(p.phase_x, p.phase_y), 1e-6F);
}

std::vector<Start> joined_lists(const std::vector<std::vector<Start>>& lists) {
  std::vector<Start> all;
  for (const auto& list : lists) all.insert(all.end(), list.begin(), list.end());
  return all;
}

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

/// The best start of every basin (sign, size, fringe order), drawn to its place by a few steps on few pixels:
/// the denser the fringes, the nearer a start must lie to show what it is worth, and a good wrong one has a
/// hundred places.
std::vector<Start> one_per_basin(const Patch& patch, const std::vector<int>& pixels,
                                 const std::vector<Start>& starts, const SpotSearchOptions& options) {
  constexpr double size_step = 0.16,
                   order_step = 0.4;  // as wide as a basin: 17 % in size, 0.4 cycles in displacement
  std::map<std::array<int, 3>, Start> best;
  for (const Start& s : starts) {
    const double log_radius = std::log(mean_radius_mm(s.spot));
    const double cycles = 1.75 * patch.gain * std::abs(s.spot[s_height]) / mean_radius_mm(s.spot);
    const std::array<int, 3> basin{s.spot[s_height] > 0,
                                   static_cast<int>(std::lround(log_radius / size_step)),
                                   static_cast<int>(std::lround(cycles / order_step))};
    const auto [at, is_new] = best.try_emplace(basin, s);
    if (!is_new && s.cost < at->second.cost) at->second = s;
  }
  std::vector<Start> chosen;
  chosen.reserve(best.size());
  for (const auto& [basin, start] : best) chosen.push_back(start);
  std::sort(chosen.begin(), chosen.end(), [](const Start& a, const Start& b) { return a.cost < b.cost; });
  if (chosen.size() > options.starts.max_basins) chosen.resize(options.starts.max_basins);
  std::vector<Start> drawn(chosen.size());
  const PixelArrays few = gather(patch, pixels);
  parallel_for(chosen.size(), options.threads, [&](std::size_t i) {
    const FitOutcome o =
        fit(few, chosen[i].spot, {{s_x, s_y, s_log_a, s_log_b, s_angle, s_height}, false, false, 5});
    drawn[i] = {o.cost, o.spot()};
  });
  return drawn;
}

/// The R2 sequence (Roberts' generalised golden ratio, own words; fills a unit square evenly): element k,
/// coordinate d of 4.
double even(int k, int d) {
  constexpr double phi4 = 1.1673039782614187;  // root of x^5 = x + 1
  return std::fmod(0.5 + (k + 1) * std::pow(phi4, -(d + 1)), 1.0);
}

}  // namespace

namespace {

/// A place to start from: sizes, shapes and displacements of the stripes to try there.
struct Look {
  Outline outline;
  std::vector<double> radii;
  std::span<const UnitSpot> shapes;
  double most_cycles;
};

/// About the outline's middle, in all shapes, and round where the outline is not.
std::vector<Look> looks_about_middle(const Outline& outline, double not_round) {
  const double r = outline.radius_mm;
  std::vector<Look> looks;
  for (std::size_t i = 0; i < few_shapes().size(); ++i)
    looks.push_back({outline, geometric(0.62 * r, 1.25 * r, 1.07), few_shapes().subspan(i, 1), 8.8});
  if (outline.elongation <= not_round) return looks;
  Outline round = outline;
  round.elongation = 1;
  looks.push_back({round, geometric(0.4 * r, 1.4 * r, 1.08), usual_shape(), 6});
  return looks;
}

/// An outline is where stripes are disturbed, and its middle may lie beside the spot's: well beside under
/// coarse stripes, where only an edge or two shows it.
std::vector<Look> looks_beside(const Outline& outline, bool coarse_stripes) {
  const double r = outline.radius_mm;
  std::vector<double> ways_off{0.3 * r};
  if (coarse_stripes) ways_off.push_back(0.5 * r);
  constexpr int around = 6;
  std::vector<Look> looks;
  for (const double off : ways_off)
    for (int k = 0; k < around; ++k) {
      Outline beside = outline;
      beside.elongation = 1;
      const double direction = 2 * std::numbers::pi * k / around;
      beside.x_mm += off * std::cos(direction), beside.y_mm += off * std::sin(direction);
      looks.push_back({beside, geometric(0.62 * r, 1.4 * r, 1.1), usual_shape(), 3});
    }
  return looks;
}

}  // namespace

SpotFit search_spot(const Patch& patch, const Outline& outline, const SpotSearchOptions& options) {
  const auto pixels = pixels_for_search(patch, outline, options.starts);
  if (!pixels) return {};
  const auto best_of = [&](const std::vector<Look>& looks, std::size_t keep) {
    std::vector<std::vector<Start>> found(looks.size());
    parallel_for(looks.size(), options.threads, [&](std::size_t i) {
      const Look& look = looks[i];
      found[i] = starts_about(patch, *pixels, look.outline, look.radii, look.shapes,
                              displacement_ladder(0.12, look.most_cycles), options.starts.share_to_rank);
    });
    return distinct(joined_lists(found), patch,
                    static_cast<std::size_t>(static_cast<double>(keep) * options.effort));
  };
  const bool coarse_stripes = 2 * outline.radius_mm < undisturbed_period_mm(patch);
  const std::vector<Look> middle = looks_about_middle(outline, options.starts.not_round),
                          beside = looks_beside(outline, coarse_stripes);
  return FitCascade(patch, outline, pixels->coarse, options)
      .run({best_of(middle, options.starts.starts), best_of(beside, options.starts.starts_beside)});
}

SpotFit search_spot_widely(const Patch& patch, const Outline& outline, const SpotSearchOptions& options) {
  const auto pixels = pixels_for_search(patch, outline, options.starts);
  if (!pixels) return {};
  const double r = outline.radius_mm;
  struct Place {
    Outline outline;
    std::span<const UnitSpot> shapes;
  };
  const auto search_about = [&](const std::vector<Place>& places, double size_ratio, double step) {
    std::vector<std::vector<Start>> found(places.size());
    parallel_for(places.size(), options.threads, [&](std::size_t i) {
      found[i] =
          starts_about(patch, *pixels, places[i].outline, geometric(0.5 * r, 1.3 * r, size_ratio),
                       places[i].shapes, displacement_ladder(0.15, 8.8, step), options.starts.share_to_rank);
    });
    return joined_lists(found);
  };
  constexpr int places = 80;
  std::vector<Place> spread;
  for (int k = 0; k < places; ++k) {
    Outline o = outline;
    const double away = 0.4 * r * std::sqrt(even(k, 0)), direction = 2 * std::numbers::pi * even(k, 1);
    o.x_mm += away * std::cos(direction), o.y_mm += away * std::sin(direction);
    o.elongation = std::exp(1.4 * std::pow(even(k, 2), 2));
    o.angle_rad = std::numbers::pi * even(k, 3);
    spread.push_back({o, few_shapes().subspan(k % 2, 1)});
  }
  std::vector<Start> starts = search_about(spread, 1.18, 0.3);
  starts = one_per_basin(patch, pixels->sparse, starts, options);
  // Fits of a wrong size and order still find the middle: look once more, and closely, at all of them about
  // the best.
  std::sort(starts.begin(), starts.end(), [](const Start& x, const Start& y) { return x.cost < y.cost; });
  std::vector<Place> middles;
  for (const Start& s : starts) {
    const Outline o = outline_of(s.spot);
    const auto same = [&](const Place& m) {
      return std::hypot(o.x_mm - m.outline.x_mm, o.y_mm - m.outline.y_mm) < 0.05 * r &&
             std::abs(o.elongation - m.outline.elongation) < 0.1;
    };
    if (std::none_of(middles.begin(), middles.end(), same)) middles.push_back({o, few_shapes()});
    if (middles.size() == options.starts.max_middles) break;
  }
  starts = search_about(middles, 1.08, 0.2);
  starts = distinct(one_per_basin(patch, pixels->sparse, starts, options), patch, options.starts.starts);
  return FitCascade(patch, outline, pixels->coarse, options).run({starts});
}

}  // namespace ripplegauge
