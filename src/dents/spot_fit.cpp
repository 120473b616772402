#include "ripplegauge/dents/spot_fit.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <functional>
#include <map>
#include <numbers>
#include <numeric>
#include <span>

#include "radial_search.hpp"
#include "ripplegauge/core/least_squares.hpp"
#include "ripplegauge/core/parallel_for.hpp"
#include "ripplegauge/dents/loudness.hpp"
#include "ripplegauge/relief/light_fit.hpp"
#include "ripplegauge/relief/surface_fit.hpp"
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

}  // namespace

namespace {

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

/// How many pixels rank starts, and how many short fits look at: fringes are many pixels wide, and noise is
/// not the limit.
constexpr std::size_t enough_to_sift = 100, enough_to_rank = 300, enough_for_short_fits = 800;

/// Starts about an outline: all are looked at among few pixels, the better ones ranked among more.
std::vector<Start> starts_about(const Patch& patch, const std::vector<int>& few, const std::vector<int>& more,
                                const Outline& outline, const std::vector<double>& radii,
                                std::span<const UnitSpot> shapes, const std::vector<double>& displacements) {
  std::vector<Start> starts;
  RadialSearch(patch, few, outline).run(radii, shapes, displacements, starts);
  if (starts.empty()) return starts;
  constexpr double better_share = 0.25;
  std::vector<double> costs;
  costs.reserve(starts.size());
  for (const Start& s : starts) costs.push_back(s.cost);
  const auto last =
      costs.begin() + static_cast<std::ptrdiff_t>(better_share * static_cast<double>(costs.size()));
  std::nth_element(costs.begin(), last, costs.end());
  std::erase_if(starts, [worst = *last](const Start& s) { return s.cost > worst; });
  RadialSearch(patch, more, outline).weigh(shapes, starts);
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
bool same_basin(const SpotVector& a, const SpotVector& b) {
  return std::abs(a[s_height] / b[s_height] - 1) < 0.2 &&
         std::abs(std::log(mean_radius_mm(a) / mean_radius_mm(b))) < 0.15 &&
         std::hypot(a[s_x] - b[s_x], a[s_y] - b[s_y]) < 0.3 * mean_radius_mm(b);
}

/// The best of different basins, at most so many, best first; and the best of the other sign, which always
/// gets its chance: sign is what must not be wrong.
std::vector<SpotVector> leading(const std::vector<FitOutcome>& sorted, std::size_t most) {
  std::vector<SpotVector> chosen;
  for (const FitOutcome& o : sorted) {
    if (std::any_of(chosen.begin(), chosen.end(),
                    [&](const SpotVector& c) { return same_basin(o.spot(), c); }))
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

/// Of fits, best first, those that may still become the best: what costs more than twice as much has never
/// come down below it.
std::vector<FitOutcome> contenders(std::vector<FitOutcome> sorted) {
  constexpr double out_of_reach = 2;
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
std::vector<SpotFit::Rival> rivals_of_first(const std::vector<FitOutcome>& sorted) {
  constexpr double nearly = 1.15;
  constexpr std::size_t most = 2;
  std::vector<SpotFit::Rival> rivals;
  for (const FitOutcome& o : sorted) {
    if (o.cost > nearly * sorted.front().cost || rivals.size() == most) break;
    if (same_basin(o.spot(), sorted.front().spot())) continue;
    if (std::any_of(rivals.begin(), rivals.end(),
                    [&](const SpotFit::Rival& r) { return same_basin(o.spot(), r.spot); }))
      continue;
    rivals.push_back({o.spot(), o.cost});
  }
  return rivals;
}

/// Whether the best fit leaves no more than noise does of what it explains, and the best of the other sign
/// far more: then there is nothing that a better one could explain.
bool leaves_nothing(const PixelArrays& pixels, bool highlight, const std::vector<FitOutcome>& sorted) {
  constexpr double few_edges = 1;  // periods: what they show, many spots explain
  constexpr double noise =
      1;  // mean robust chi square: Gaussian noise has a half, orange peel in its flanks up to twice that
  constexpr double hardly_any = 0.05;  // of the disturbance
  constexpr double surely_worse = 2;   // times what the best one leaves inside
  const SpotVector& best = sorted.front().spot();
  if (2 * mean_radius_mm(best) < few_edges * undisturbed_period_mm(*pixels.patch)) return false;
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
  if (std::max(loudest, with.beyond) > noise || loudest - quiet > hardly_any * (without.inside - quiet))
    return false;
  const auto other = of_other_sign(sorted, best);
  return other != sorted.end() && other->cost - sorted.front().cost >
                                      surely_worse * loudest * with.inside_count * importance_of(pixels);
}

/// Short fits of all starts, longer ones of the better half of each group, full fits of the best, other
/// shapes about the best of those.
SpotFit finish_starts(const Patch& patch, const Outline& outline, const std::vector<int>& coarse,
                      const std::vector<std::vector<Start>>& groups, const SpotSearchOptions& options) {
  std::vector<SpotVector> from;
  for (const Start& s : groups.front()) from.push_back(s.spot);
  if (from.empty()) return {};
  constexpr double rough = 1.0 / 3, half_way = 0.5, nearly = 2.0 / 3,
                   all_but = 0.9;  // of what must be shown in the end
  constexpr std::size_t few_best = 6;
  const auto hopeless = [&](std::span<const SpotVector> spots, double share) {
    const auto best = spots.first(std::min(spots.size(), few_best));
    return std::none_of(best.begin(), best.end(),
                        [&](const SpotVector& s) { return options.worth_finishing(s, share); });
  };
  SpotFit result;
  result.spot = from.front();
  if (hopeless(from, rough)) return result;
  const auto fit_all = [&](const PixelArrays& pixels, const FitRequest& request) {
    std::vector<FitOutcome> outcomes(from.size());
    parallel_for(from.size(), options.threads,
                 [&](std::size_t i) { outcomes[i] = fit(pixels, from[i], request); });
    std::sort(outcomes.begin(), outcomes.end(), better);
    return outcomes;
  };
  const PixelArrays half = gather(patch, spread_evenly(coarse, coarse.size() / 2));
  std::vector<SpotVector> better_half;
  for (const std::vector<Start>& group : groups) {
    if (group.empty()) continue;
    from.clear();
    for (const Start& s : group) from.push_back(s.spot);
    const std::vector<FitOutcome> short_fits =
        fit_all(half, {{s_x, s_y, s_log_a, s_log_b, s_angle, s_height}, false, false, 5});
    from = leading(short_fits, std::max(group.size() / 2, few_best));
    better_half.insert(better_half.end(), from.begin(), from.end());
  }
  from = better_half;
  result.spot = from.front();
  if (hopeless(from, half_way)) return result;
  constexpr bool highlight = true;  // of metallic paint: without it a wrong spot may explain more
  const std::vector<int> but_few{s_x, s_y, s_log_a, s_log_b, s_angle, s_height, s_log_n};
  const PixelArrays longer = gather(patch, coarse);
  const std::vector<FitOutcome> plain = fit_all(longer, {but_few, false, false, 6}),
                                shiny = fit_all(longer, {but_few, false, highlight, 6});
  from = leading(plain, few_best);
  for (const SpotVector& s : leading(shiny, few_best / 2))
    if (std::none_of(from.begin(), from.end(), [&](const SpotVector& o) { return same_basin(s, o); }))
      from.push_back(s);
  result.spot = from.front();
  if (hopeless(leading(contenders(plain), few_best), nearly)) return result;
  const FitRequest all_free{all_parameters, false, highlight, 14};
  const PixelArrays fine = gather(patch, search_pixels(patch, outline, 1800));
  std::vector<FitOutcome> full = fit_all(fine, all_free);
  result.spot = full.front().spot();
  if (hopeless(leading(contenders(full), few_best), all_but)) return result;
  if (!leaves_nothing(fine, highlight, full)) {
    from = reshaped(full.front().spot());
    const std::vector<SpotVector> like_it = relatives(full.front().spot());
    from.insert(from.end(), like_it.begin(), like_it.end());
    const std::vector<FitOutcome> others = fit_all(fine, all_free);
    full.insert(full.end(), others.begin(), others.end());
    std::sort(full.begin(), full.end(), better);
  }
  // The best of each sign go on until they are as good as they get.
  from = {full.front().spot()};
  if (const auto other = of_other_sign(full, from.front()); other != full.end())
    from.push_back(other->spot());
  const std::vector<FitOutcome> settled = fit_all(fine, {all_parameters, false, highlight, 40});
  full.insert(full.end(), settled.begin(), settled.end());
  std::sort(full.begin(), full.end(), better);
  result.spot = full.front().spot();
  result.search_cost = result.cost = full.front().cost;
  if (const auto other = of_other_sign(full, result.spot); other != full.end())
    result.opposite_cost = other->cost;
  result.rivals = rivals_of_first(full);
  return result;
}

/// The best start of every basin (sign, size, fringe order), drawn to its place by a few steps on few pixels:
/// the denser the fringes, the nearer a start must lie to show what it is worth, and a good wrong one has a
/// hundred places.
std::vector<Start> one_per_basin(const Patch& patch, const std::vector<int>& pixels,
                                 const std::vector<Start>& starts, int threads) {
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
  constexpr std::size_t most = 120;  // of some 300: the worst half has never won
  std::sort(chosen.begin(), chosen.end(), [](const Start& a, const Start& b) { return a.cost < b.cost; });
  if (chosen.size() > most) chosen.resize(most);
  std::vector<Start> drawn(chosen.size());
  const PixelArrays few = gather(patch, pixels);
  parallel_for(chosen.size(), threads, [&](std::size_t i) {
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

Outline outline_of(const SpotVector& spot, double growth) {
  const bool a_is_long = spot[s_log_a] > spot[s_log_b];
  return {spot[s_x], spot[s_y], growth * mean_radius_mm(spot), elongation(spot),
          spot[s_angle] + (a_is_long ? 0 : 0.5 * std::numbers::pi)};
}

SpotFit search_spot(const Patch& patch, const Outline& outline, const SpotSearchOptions& options) {
  const std::vector<int> coarse = search_pixels(patch, outline, enough_for_short_fits);
  if (coarse.size() < 100) return {};
  const std::vector<int> few = search_pixels(patch, outline, enough_to_sift),
                         sparse = search_pixels(patch, outline, enough_to_rank);
  const double r = outline.radius_mm;
  struct Look {
    Outline outline;
    std::vector<double> radii;
    std::span<const UnitSpot> shapes;
    double most_cycles;
  };
  std::vector<Look> looks;
  for (std::size_t i = 0; i < few_shapes().size(); ++i)
    looks.push_back({outline, geometric(0.62 * r, 1.25 * r, 1.07), few_shapes().subspan(i, 1), 8.8});
  Outline round = outline;
  round.elongation = 1;
  constexpr double not_round = 1.15;
  if (outline.elongation > not_round)
    looks.push_back({round, geometric(0.4 * r, 1.4 * r, 1.08), usual_shape(), 6});
  // An outline is where stripes are disturbed, and its middle may lie beside the spot's: well beside under
  // coarse stripes, where only an edge or two shows it.
  const std::size_t about_the_middle = looks.size();
  const bool coarse_stripes = 2 * r < undisturbed_period_mm(patch);
  std::vector<double> ways_off{0.3 * r};
  if (coarse_stripes) ways_off.push_back(0.5 * r);
  constexpr int around = 6;
  for (const double off : ways_off)
    for (int k = 0; k < around; ++k) {
      Outline beside = round;
      const double direction = 2 * std::numbers::pi * k / around;
      beside.x_mm += off * std::cos(direction), beside.y_mm += off * std::sin(direction);
      looks.push_back({beside, geometric(0.62 * r, 1.4 * r, 1.1), usual_shape(), 3});
    }
  std::vector<std::vector<Start>> found(looks.size());
  parallel_for(looks.size(), options.threads, [&](std::size_t i) {
    const Look& look = looks[i];
    found[i] = starts_about(patch, few, sparse, look.outline, look.radii, look.shapes,
                            displacement_ladder(0.12, look.most_cycles));
  });
  const auto best_of = [&](std::size_t from, std::size_t to, double keep) {
    return distinct(joined_lists({found.begin() + static_cast<std::ptrdiff_t>(from),
                                  found.begin() + static_cast<std::ptrdiff_t>(to)}),
                    patch, static_cast<std::size_t>(keep * options.effort));
  };
  return finish_starts(patch, outline, coarse,
                       {best_of(0, about_the_middle, 24), best_of(about_the_middle, found.size(), 12)},
                       options);
}

SpotFit search_spot_widely(const Patch& patch, const Outline& outline, const SpotSearchOptions& options) {
  const std::vector<int> coarse = search_pixels(patch, outline, enough_for_short_fits);
  if (coarse.size() < 100) return {};
  const std::vector<int> few = search_pixels(patch, outline, enough_to_sift),
                         sparse = search_pixels(patch, outline, enough_to_rank);
  const double r = outline.radius_mm;
  struct Place {
    Outline outline;
    std::span<const UnitSpot> shapes;
  };
  const auto search_about = [&](const std::vector<Place>& places, double size_ratio, double step) {
    std::vector<std::vector<Start>> found(places.size());
    parallel_for(places.size(), options.threads, [&](std::size_t i) {
      found[i] = starts_about(patch, few, sparse, places[i].outline, geometric(0.5 * r, 1.3 * r, size_ratio),
                              places[i].shapes, displacement_ladder(0.15, 8.8, step));
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
  starts = one_per_basin(patch, sparse, starts, options.threads);
  // Fits of a wrong size and order still find the middle: look once more, and closely, at all of them about
  // the best.
  std::sort(starts.begin(), starts.end(), [](const Start& x, const Start& y) { return x.cost < y.cost; });
  constexpr std::size_t most_middles = 8;
  std::vector<Place> middles;
  for (const Start& s : starts) {
    const Outline o = outline_of(s.spot);
    const auto same = [&](const Place& m) {
      return std::hypot(o.x_mm - m.outline.x_mm, o.y_mm - m.outline.y_mm) < 0.05 * r &&
             std::abs(o.elongation - m.outline.elongation) < 0.1;
    };
    if (std::none_of(middles.begin(), middles.end(), same)) middles.push_back({o, few_shapes()});
    if (middles.size() == most_middles) break;
  }
  starts = search_about(middles, 1.08, 0.2);
  constexpr std::size_t keep = 24;
  starts = distinct(one_per_basin(patch, sparse, starts, options.threads), patch, keep);
  return finish_starts(patch, outline, coarse, {starts}, options);
}

PixelArrays some_pixels(const Patch& patch, std::size_t most) {
  return patch.size() > most ? gather(patch, spread_evenly(all_pixels(patch), most)) : gather(patch);
}

SpotFit polish_spot(const PixelArrays& pixels, const SpotVector& start, bool highlight, int iterations) {
  Eigen::MatrixXd hessian;
  constexpr double tolerance = 1e-6;  // shapes that few stripes tell apart lie along a flat valley
  const FitOutcome o =
      fit_spots(pixels, std::span(&start, 1), {all_parameters, true, highlight, iterations, tolerance},
                Eigen::Vector3d::Zero(), &hessian);
  SpotFit result;
  const Eigen::LDLT<Eigen::MatrixXd> factor(hessian);
  const Eigen::VectorXd by_height = factor.solve(Eigen::VectorXd::Unit(hessian.rows(), s_height));
  if (factor.isPositive() && by_height.allFinite()) result.height_variance = by_height[s_height];
  result.spot = o.spot();
  result.drift = o.drift;
  result.cost = o.cost;
  return result;
}

std::vector<SpotFit> polish_along_height(const Patch& patch, const SpotFit& fit, bool highlight, double ratio,
                                         double contradicted, int threads) {
  constexpr int most_steps = 12, iterations = 20;
  constexpr std::size_t enough = 5000;  // pixels: what the stripes do not tell, more of them do not either
  constexpr double tolerance = 3e-5;    // of some thousands: a tenth, where differences of several count
  const PixelArrays pixels = some_pixels(patch, enough);
  std::vector<int> all_but_height = all_parameters;
  std::erase(all_but_height, static_cast<int>(s_height));
  const auto fitted = [&](SpotFit at, double step) {
    at.spot[s_height] *= step;
    const FitOutcome o = fit_spots(pixels, std::span(&at.spot, 1),
                                   {all_but_height, true, highlight, iterations, tolerance}, at.drift);
    at.spot = o.spot(), at.drift = o.drift, at.cost = o.cost;
    return at;
  };
  const SpotFit middle = fitted(fit, 1);
  const std::array<double, 2> steps{1 / ratio, ratio};
  std::array<std::vector<SpotFit>, 2> ways;
  parallel_for(ways.size(), threads, [&](std::size_t way) {
    double least = middle.cost;
    SpotFit at = middle;
    for (int i = 0; i < most_steps && at.cost < least + contradicted; ++i) {
      at = fitted(at, steps[way]);
      least = std::min(least, at.cost);
      ways[way].push_back(at);
    }
  });
  std::vector<SpotFit> fits{middle};
  for (const std::vector<SpotFit>& way : ways) fits.insert(fits.end(), way.begin(), way.end());
  std::sort(fits.begin(), fits.end(),
            [](const SpotFit& a, const SpotFit& b) { return a.spot[s_height] < b.spot[s_height]; });
  return fits;
}

double correlated_noise(const Patch& patch, const SpotFit& fit, bool highlight) {
  const double radius_mm = mean_radius_mm(fit.spot);
  const double block_mm = std::max({0.8, 0.25 * radius_mm, patch.peel_cell_mm});
  const PixelArrays pixels = some_pixels(patch);
  const LightFit light = light_under(pixels, std::span(&fit.spot, 1), fit.drift, highlight);
  constexpr double around = 1.3, everywhere_mm = 1e3;
  double inflation = 1;
  for (const double from : {0.0, around})
    inflation = std::max(inflation, score_inflation(pixels, light, block_mm, fit.spot[s_x], fit.spot[s_y],
                                                    from * radius_mm, everywhere_mm));
  return std::max(1.0, inflation * patch.effective_pixel_share);
}

void explain(Patch& patch, std::span<const SpotVector> spots) {
  HitPoints hits;
  ReliefAtPixels relief;
  relief_of(some_pixels(patch), spots, hits, relief);
  patch.base_z = std::move(relief.z);
  patch.base_slope_x = std::move(relief.slope_x);
  patch.base_slope_y = std::move(relief.slope_y);
  patch.base_xx = std::move(relief.xx);
  patch.base_xy = std::move(relief.xy);
  patch.base_yy = std::move(relief.yy);
  patch.soft_slope_x.assign(patch.size(), 0);  // the base has it now
  patch.soft_slope_y.assign(patch.size(), 0);
}

void explain(Patch& patch, const SpotVector& spot) { explain(patch, std::span(&spot, 1)); }

void soften(Patch& patch, std::span<const SpotVector> spots) {
  patch.soft_slope_x.assign(patch.size(), 0);
  patch.soft_slope_y.assign(patch.size(), 0);
  SlopesByBlur slopes = slopes_by_blur(some_pixels(patch), spots);
  patch.soft_slope_x = std::move(slopes.x);
  patch.soft_slope_y = std::move(slopes.y);
}

void soften(Patch& patch, const SpotVector& spot) { soften(patch, std::span(&spot, 1)); }

void set_whitening(Patch& patch, const SpotVector& spot) {
  HitPoints hits;
  ReliefAtPixels relief;
  LightFit light;
  const PixelArrays pixels = some_pixels(patch);
  relief_of(pixels, std::span(&spot, 1), hits, relief);
  predict_phase(pixels, relief, Eigen::Vector3d::Zero(), light);
  for (std::size_t i = 0; i < patch.size(); ++i) patch.whitening[i] = whitening_at(patch, light.phase[i]);
}

std::vector<float> whitened_residuals(const Patch& patch, const SpotVector& spot,
                                      const Eigen::Vector3d& drift, bool highlight) {
  return light_under(some_pixels(patch), std::span(&spot, 1), drift, highlight).residual;
}

}  // namespace ripplegauge
