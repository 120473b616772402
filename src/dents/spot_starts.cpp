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

#include "core/parallel_for.hpp"
#include "dents/spot_fit.hpp"
#include "fit_cascade.hpp"
#include "radial_search.hpp"
#include "spot_problem.hpp"

namespace ripplegauge {
namespace {

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

std::vector<Start> joined_lists(const std::vector<std::vector<Start>>& lists) {
  std::vector<Start> all;
  for (const auto& list : lists) all.insert(all.end(), list.begin(), list.end());
  return all;
}

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
  return best_of_starts(
      patch, outline, pixels->coarse, options,
      {best_of(middle, options.starts.starts), best_of(beside, options.starts.starts_beside)});
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
  return best_of_starts(patch, outline, pixels->coarse, options, {starts});
}

}  // namespace ripplegauge
