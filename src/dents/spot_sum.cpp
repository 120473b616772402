// Fits two spots at once. One spot's ten parameters describe most dents; steps, kidneys and rims take twenty.
// The second spot is looked for in what the first leaves over, in several shapes of pair, and is believed
// where it pays for its parameters and the two are one dent.
#include "spot_sum.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <utility>

#include "core/parallel_for.hpp"
#include "radial_search.hpp"
#include "relief/light_fit.hpp"
#include "relief/surface_fit.hpp"
#include "ripplegauge/core/reading.hpp"
#include "spot_problem.hpp"

namespace ripplegauge {
namespace {

std::array<SpotVector, 2> parts_of(const SpotSum& sum) { return {sum.first, sum.second}; }

SpotSum fit_sum(const PixelArrays& pixels, const SpotSum& start, bool drift, bool highlight, int iterations) {
  const FitOutcome o =
      fit_spots(pixels, parts_of(start), {all_parameters, drift, highlight, iterations}, start.drift);
  SpotSum sum = start;
  sum.first = o.spots[0], sum.second = o.spots[1], sum.drift = o.drift, sum.cost = o.cost;
  return sum;
}

double cost_of(const PixelArrays& pixels, const SpotSum& sum) {
  return importance_of(pixels) * light_under(pixels, parts_of(sum), sum.drift, false).cost;
}

bool cheaper(const SpotSum& a, const SpotSum& b) { return a.cost < b.cost; }

/// Pixels near a spot, spread evenly by golden-ratio stepping.
std::vector<int> pixels_near(const Patch& patch, const SpotVector& spot, double reach, std::size_t wanted) {
  std::vector<int> near, chosen;
  const double reach_mm = reach * half_length_mm(spot);
  for (std::size_t i = 0; i < patch.size(); ++i)
    if (std::hypot(patch.pixel[i].x_mm - spot[s_x], patch.pixel[i].y_mm - spot[s_y]) < reach_mm)
      near.push_back(static_cast<int>(i));
  if (near.size() <= wanted) return near;
  chosen = spread_evenly(near, wanted);
  std::sort(chosen.begin(), chosen.end());
  chosen.erase(std::unique(chosen.begin(), chosen.end()), chosen.end());
  return chosen;
}

/// A place in a spot: elliptic radius (1 on its 10 % contour) and direction.
PointMm place_in(const SpotVector& s, double rho, double direction) {
  const double u = rho * std::exp(s[s_log_a]) * std::cos(direction),
               v = rho * std::exp(s[s_log_b]) * std::sin(direction);
  const double c = std::cos(s[s_angle]), n = std::sin(s[s_angle]);
  return {s[s_x] + c * u - n * v, s[s_y] + n * u + c * v};
}

/// Second spots of either sign, anywhere in or beside the first one as it stands: what the residual asks for.
/// Small ones are looked for among pixels near by, or hardly any would see them; so that all can be ranked,
/// each counts by what it takes off the cost per area.
std::vector<SpotSum> added_starts(const Patch& patch, const SpotVector& single, std::size_t keep,
                                  int threads) {
  Patch rest = patch;
  explain(rest, single);
  struct Look {
    PointMm place;
    double smallest, largest, reach;  ///< of radii and pixels, in mean radii of the first one
  };
  std::vector<Look> looks;
  constexpr int per_ring = 8;
  for (const double rho : {0.0, 0.35, 0.7, 1.0})
    for (int k = 0; k < (rho == 0 ? 1 : per_ring); ++k) {
      const PointMm p = place_in(single, rho, 2 * std::numbers::pi * k / per_ring);
      looks.push_back({p, 0.2, 0.4, 0.7});
      looks.push_back({p, 0.4, 0.95, 1.5});
    }
  const std::vector<double> displacements{0.1, 0.2, 0.35, 0.55, 0.8, 1.1, 1.4, 1.7,
                                          2.0, 2.3, 2.6,  3.0,  3.4, 3.8, 4.2, 4.6};  // cycles
  constexpr std::size_t enough = 300, too_few = 100;
  const std::array<UnitSpot, 2> shapes{UnitSpot(2, 20), UnitSpot(2, 2.1)};
  std::vector<std::vector<Start>> found(looks.size());
  parallel_for(looks.size(), threads, [&](std::size_t i) {
    const Look& look = looks[i];
    SpotVector about = single;
    about[s_x] = look.place.x_mm, about[s_y] = look.place.y_mm;
    about[s_log_a] = about[s_log_b] = std::log(mean_radius_mm(single));
    const std::vector<int> pixels = pixels_near(rest, about, look.reach, enough);
    if (pixels.size() < too_few) return;
    std::vector<double> radii;
    double radius = look.smallest;
    while (radius < look.largest) radii.push_back(radius * mean_radius_mm(single)), radius *= 1.22;
    const RadialSearch search(rest, pixels, {look.place.x_mm, look.place.y_mm, radii.front(), 1, 0});
    search.run(radii, shapes, displacements, found[i]);
    const double without = search.flat_cost(),
                 area = look.reach * look.reach / static_cast<double>(pixels.size());
    for (Start& s : found[i]) s.cost = (s.cost - without) * area;
  });
  std::vector<Start> starts;
  for (const std::vector<Start>& some : found) starts.insert(starts.end(), some.begin(), some.end());
  std::sort(starts.begin(), starts.end(), [](const Start& a, const Start& b) { return a.cost < b.cost; });
  std::vector<SpotSum> chosen;
  for (const Start& s : starts) {
    const auto same = [&](const SpotSum& o) {
      return std::hypot(s.spot[s_x] - o.second[s_x], s.spot[s_y] - o.second[s_y]) <
                 0.4 * mean_radius_mm(o.second) &&
             std::abs(s.spot[s_log_a] - o.second[s_log_a]) < 0.3 &&
             s.spot[s_height] * o.second[s_height] > 0 &&
             std::abs(std::log(s.spot[s_height] / o.second[s_height])) < 0.35;
    };
    if (std::any_of(chosen.begin(), chosen.end(), same)) continue;
    chosen.push_back({single, s.spot});
    if (chosen.size() == keep) break;
  }
  return chosen;
}

/// A dent in a dent: a wide one that carries some of the height, and a narrower one of the same sign, about
/// its middle or beside it, that carries the rest. As one spot the fit is as narrow as the steeper of the
/// two, so no start that keeps it comes near.
std::vector<SpotSum> stepped_starts(const PixelArrays& pixels, const SpotVector& single, std::size_t keep) {
  std::vector<SpotSum> starts;
  constexpr int directions = 8;
  for (const double offset : {0.0, 0.2, 0.4})
    for (int k = 0; k < (offset == 0 ? 1 : directions); ++k)
      for (const double wider : {1.0, 1.2})
        for (const double narrower : {0.35, 0.5, 0.65})
          for (const double share : {0.35, 0.5, 0.65}) {
            SpotSum sum{single, single};
            const double direction = 2 * std::numbers::pi * k / directions;
            const PointMm a = place_in(single, -0.5 * offset, direction),
                          b = place_in(single, 0.5 * offset, direction);
            sum.first[s_x] = a.x_mm, sum.first[s_y] = a.y_mm, sum.second[s_x] = b.x_mm,
            sum.second[s_y] = b.y_mm;
            const auto resize = [](SpotVector& s, double radius, double height) {
              s[s_log_a] += std::log(radius), s[s_log_b] += std::log(radius), s[s_height] *= height;
              s[s_slant_u] = s[s_slant_v] = 0;
            };
            resize(sum.first, wider, 1 - share), resize(sum.second, narrower, share);
            sum.cost = cost_of(pixels, sum);
            starts.push_back(sum);
          }
  std::sort(starts.begin(), starts.end(), cheaper);
  if (starts.size() > keep) starts.resize(keep);
  return starts;
}

/// The first one parted in two alike, side by side in any direction.
std::vector<SpotSum> parted_starts(const PixelArrays& pixels, const SpotVector& single, std::size_t keep) {
  std::vector<SpotSum> starts;
  constexpr int directions = 8;
  for (int k = 0; k < directions; ++k)
    for (const double apart : {0.35, 0.6})
      for (const double height : {0.6, 0.85}) {
        SpotSum sum{single, single};
        const double direction = std::numbers::pi * k / directions;
        const PointMm a = place_in(single, apart, direction), b = place_in(single, -apart, direction);
        const double shrink = std::log(1 - 0.4 * apart);
        for (SpotVector* s : {&sum.first, &sum.second}) {
          (*s)[s_log_a] += shrink, (*s)[s_log_b] += shrink;
          (*s)[s_height] *= height;
          (*s)[s_slant_u] = (*s)[s_slant_v] = 0;
        }
        sum.first[s_x] = a.x_mm, sum.first[s_y] = a.y_mm, sum.second[s_x] = b.x_mm, sum.second[s_y] = b.y_mm;
        sum.cost = cost_of(pixels, sum);
        starts.push_back(sum);
      }
  std::sort(starts.begin(), starts.end(), cheaper);
  if (starts.size() > keep) starts.resize(keep);
  return starts;
}

/// How high a spot must be to move the stripes by so many cycles.
double height_for(const Patch& patch, const SpotVector& spot, double cycles) {
  constexpr double steepness = 1.75;  // of a Gaussian: steepest slope times 10 % radius over height
  return cycles / patch.gain * mean_radius_mm(spot) / steepness;
}

/// The best sums that are not the same as a better one, best first, at most so many.
template <class Same>
std::vector<SpotSum> best_apart(std::vector<SpotSum> sums, std::size_t most, const Same& same) {
  std::sort(sums.begin(), sums.end(), cheaper);
  std::vector<SpotSum> chosen;
  for (const SpotSum& s : sums) {
    if (chosen.size() == most) break;
    if (std::none_of(chosen.begin(), chosen.end(), [&](const SpotSum& better) { return same(s, better); }))
      chosen.push_back(s);
  }
  return chosen;
}

/// A dent in a wider, lower spot of the other sign: metal that had to go up around it. One spot alone may
/// take the rim for the dent, so sizes and heights start anew.
std::vector<SpotSum> rimmed_starts(const Patch& patch, const SpotVector& single, std::size_t keep) {
  const PixelArrays pixels = gather(patch, pixels_near(patch, single, 1.5, 400));
  std::vector<SpotSum> starts;
  for (const double size : {0.5, 0.57, 0.65, 0.74, 0.85, 0.97})
    for (const double rim : {0.1, 0.25})
      for (const double cycles : displacement_ladder(0.3, 8.8)) {
        SpotSum sum{single, single};
        sum.first[s_log_a] += std::log(size), sum.first[s_log_b] += std::log(size);
        sum.first[s_height] = std::copysign(height_for(patch, sum.first, cycles), single[s_height]);
        sum.first[s_log_p] = std::log(2.0), sum.first[s_log_n] = std::log(20.0);
        sum.first[s_slant_u] = sum.first[s_slant_v] = 0;
        sum.second = sum.first;
        constexpr double wider = 1.7;
        sum.second[s_log_a] += std::log(wider), sum.second[s_log_b] += std::log(wider);
        sum.second[s_height] *= -rim;
        sum.cost = cost_of(pixels, sum);
        starts.push_back(sum);
      }
  return best_apart(std::move(starts), keep, [](const SpotSum& s, const SpotSum& o) {
    return std::abs(s.first[s_log_a] - o.first[s_log_a]) < 0.1 &&
           std::abs(s.first[s_height] / o.first[s_height] - 1) < 0.12;
  });
}

/// The sum with its second one in other sizes and fringe orders, where it is or (a step within) in the middle
/// of the first: the place of a wrong order is not quite right, either.
std::vector<SpotSum> other_orders(const Patch& patch, const SpotSum& sum, std::size_t keep) {
  const PixelArrays pixels = gather(patch, pixels_near(patch, sum.second, 1.5, 600));
  std::vector<SpotSum> starts;
  for (const SpotVector* place : {&sum.first, &sum.second})
    for (const double size : {0.8, 0.9, 1.0, 1.12, 1.25})
      for (const double cycles : displacement_ladder(0.2, 4.8, 0.25)) {
        SpotSum other = sum;
        SpotVector& s = other.second;
        s[s_x] = (*place)[s_x], s[s_y] = (*place)[s_y];
        s[s_log_a] = s[s_log_b] = std::log(size * mean_radius_mm(sum.second));
        s[s_log_p] = std::log(2.0), s[s_log_n] = std::log(5.0), s[s_slant_u] = s[s_slant_v] = 0;
        s[s_height] = std::copysign(height_for(patch, s, cycles), sum.second[s_height]);
        other.cost = cost_of(pixels, other);
        starts.push_back(other);
      }
  return best_apart(std::move(starts), keep, [](const SpotSum& s, const SpotSum& o) {
    return s.second[s_x] == o.second[s_x] &&
           std::abs(std::log(s.second[s_height] / o.second[s_height])) < 0.15;
  });
}

/// The second one moved by half of its radius and by all of it, as it is and wider: where it folds stripes,
/// its place has basins, too.
std::vector<SpotSum> moved_starts(const SpotSum& sum) {
  constexpr int directions = 8;
  std::vector<SpotSum> starts;
  for (int i = 0; i < directions; ++i)
    for (const auto& [way, size] : {std::pair{0.5, 1.0}, {0.5, 1.4}, {1.0, 1.0}, {1.0, 1.4}}) {
      const double angle = 2 * std::numbers::pi * i / directions, way_mm = way * mean_radius_mm(sum.second);
      SpotSum other = sum;
      other.second[s_x] += way_mm * std::cos(angle), other.second[s_y] += way_mm * std::sin(angle);
      other.second[s_log_a] += std::log(size), other.second[s_log_b] += std::log(size);
      starts.push_back(other);
    }
  return starts;
}

/// Whether the second one is a rim of the first: of the other sign, wider, lower, and about it.
bool is_rimmed(const SpotSum& sum, const SumOptions& options) {
  return sum.first[s_height] * sum.second[s_height] < 0 &&
         mean_radius_mm(sum.second) > options.rim_wider * mean_radius_mm(sum.first) &&
         std::abs(sum.second[s_height]) < options.rim_lower * std::abs(sum.first[s_height]) &&
         std::hypot(sum.first[s_x] - sum.second[s_x], sum.first[s_y] - sum.second[s_y]) <
             mean_radius_mm(sum.first);
}

/// Whether the two make one dent: a rimmed one, or two of the same sign with no ridge between them. Where a
/// place between their middles is less than half as deep as either, a person would see two dents.
bool is_one_dent(const SpotSum& sum, const SumOptions& options) {
  if (sum.first[s_height] * sum.second[s_height] < 0) return is_rimmed(sum, options);
  const double size = mean_radius_mm(sum.first) / mean_radius_mm(sum.second);
  if (size > options.max_size_ratio || size < 1 / options.max_size_ratio) return false;
  const double sign = sum.first[s_height] > 0 ? 1 : -1;
  const auto depth = [&](double t) {
    const double x = sum.first[s_x] + t * (sum.second[s_x] - sum.first[s_x]),
                 y = sum.first[s_y] + t * (sum.second[s_y] - sum.first[s_y]);
    return sign * (height_of(sum.first, x, y) + height_of(sum.second, x, y));
  };
  const double shallower = std::min(depth(0), depth(1));
  constexpr int steps = 40;
  for (int i = 1; i < steps; ++i)
    if (depth(static_cast<double>(i) / steps) < options.ridge_share * shallower) return false;
  return shallower > options.min_part_share * std::max(depth(0), depth(1));
}

/// What a second spot must take off the cost (Schwarz, Ann. Stat. 6:461, 1978, with as many samples as there
/// are independent ones).
double price_of_second(const Patch& patch, const SpotSum& sum, bool highlight) {
  const double block_mm = std::max({0.8, 0.25 * mean_radius_mm(sum.first), patch.peel_cell_mm});
  const PixelArrays pixels = some_pixels(patch);
  const LightFit light = light_under(pixels, parts_of(sum), sum.drift, highlight);
  constexpr double everywhere_mm = 1e3;
  const double inflation = score_inflation(pixels, light, block_mm, 0, 0, 0, everywhere_mm);
  const double independent = static_cast<double>(patch.size()) / inflation;
  return 0.5 * double{spot_parameters} * std::log(std::max(independent, 10.0)) * inflation *
         patch.effective_pixel_share;
}

}  // namespace

SpotSum polish_sum(const Patch& patch, const SpotSum& start, bool highlight, int iterations) {
  return fit_sum(some_pixels(patch), start, true, highlight, iterations);
}

void explain(Patch& patch, const SpotSum& sum) { explain(patch, parts_of(sum)); }

void soften(Patch& patch, const SpotSum& sum) { soften(patch, parts_of(sum)); }

namespace {

/// Short fits of sums that are one dent, best first; more are added round by round.
class SumFits {
 public:
  SumFits(const PixelArrays& pixels, const PanelScene& scene) : pixels_(pixels), scene_(scene) {}

  void add(const std::vector<SpotSum>& starts) {
    std::vector<SpotSum> fitted(starts.size());
    parallel_for(starts.size(), scene_.threads,
                 [&](std::size_t i) { fitted[i] = fit_sum(pixels_, starts[i], false, false, 10); });
    std::erase_if(fitted, [&](const SpotSum& s) { return !is_one_dent(s, scene_.options.sums); });
    fits_.insert(fits_.end(), fitted.begin(), fitted.end());
    std::sort(fits_.begin(), fits_.end(), cheaper);
  }
  const std::vector<SpotSum>& all() const { return fits_; }
  const SpotSum& best() const { return fits_.front(); }

 private:
  const PixelArrays& pixels_;
  const PanelScene& scene_;
  std::vector<SpotSum> fits_;
};

/// All kinds of pairs that one spot may stand for.
std::vector<SpotSum> first_starts(const Patch& patch, const PixelArrays& few, const SpotVector& alone,
                                  const SumOptions& options, int threads) {
  std::vector<SpotSum> starts = added_starts(patch, alone, options.places, threads);
  for (const std::vector<SpotSum>& more :
       {parted_starts(few, alone, options.parted), rimmed_starts(patch, alone, options.rimmed),
        stepped_starts(few, alone, options.stepped)})
    starts.insert(starts.end(), more.begin(), more.end());
  return starts;
}

/// The best of the leading fits, each polished over the whole patch.
SpotSum polished_best(const Patch& patch, std::vector<SpotSum> fits, bool highlight,
                      const PanelScene& scene) {
  if (fits.size() > scene.options.sums.finalists) fits.resize(scene.options.sums.finalists);
  constexpr int until_settled = 40;
  std::vector<SpotSum> finished(fits.size());
  parallel_for(fits.size(), scene.threads,
               [&](std::size_t i) { finished[i] = polish_sum(patch, fits[i], highlight, until_settled); });
  return *std::min_element(finished.begin(), finished.end(), cheaper);
}

}  // namespace

std::optional<SpotSum> find_sum(const PanelScene& scene, const SpotFit& single,
                                const std::vector<SpotVector>& others) {
  const SumOptions& options = scene.options.sums;
  const Patch patch = patch_for(scene, single.spot, others, 2.0, 6000);
  if (patch.size() < scene.options.effort.min_pixels) return std::nullopt;
  bool highlight = false;
  const SpotFit alone = polish_with_fitting_light(patch, single, highlight, 10);
  constexpr std::size_t enough =
      2400;  // of which the smallest second one, a thirtieth of the area, has eighty
  const PixelArrays few = gather(patch, pixels_near(patch, alone.spot, 1.7, enough));
  SumFits fits(few, scene);
  fits.add(first_starts(patch, few, alone.spot, options, scene.threads));
  if (fits.all().empty()) return std::nullopt;
  // Alone, the first one had to make up for the second: beside any other it stands where it should, and the
  // second shows better. Again from what that finds, until nothing better comes: which basin a single round
  // ends in hangs on the last digit of a pixel.
  for (int round = 0; round < options.max_rounds; ++round) {
    const double before = fits.best().cost;
    fits.add(added_starts(patch, fits.best().first, options.places, scene.threads));
    fits.add(other_orders(patch, fits.best(), options.orders));
    fits.add(moved_starts(fits.best()));
    if (fits.best().cost > options.worthwhile_gain * before) break;
  }
  SpotSum sum = polished_best(patch, fits.all(), highlight, scene);
  if (!is_one_dent(sum, options)) return std::nullopt;
  if (alone.cost - sum.cost < price_of_second(patch, sum, highlight)) return std::nullopt;
  if (!is_rimmed(sum, options) && mean_radius_mm(sum.second) > mean_radius_mm(sum.first))
    std::swap(sum.first, sum.second);
  return sum;
}

std::optional<SpotFit> one_for_two(const PanelScene& scene, const SpotVector& a, const SpotVector& b,
                                   const std::vector<SpotVector>& others) {
  const Patch patch = patch_for(scene, SpotSum{a, b}, others, 6000);
  if (patch.size() < scene.options.effort.min_pixels) return std::nullopt;
  Outline both = outline_of(a);
  both.x_mm = 0.5 * (a[s_x] + b[s_x]), both.y_mm = 0.5 * (a[s_y] + b[s_y]);
  both.radius_mm =
      0.5 * std::hypot(a[s_x] - b[s_x], a[s_y] - b[s_y]) + 0.5 * (mean_radius_mm(a) + mean_radius_mm(b));
  both.elongation = 1;
  SpotFit searched;
  for (const Outline& outline : {outline_of(a, 1.2), outline_of(b, 1.2), both}) {
    const SpotFit found = search_spot(patch, outline, search_in(scene, any_fit));
    if (found.search_cost < searched.search_cost) searched = found;
  }
  if (searched.search_cost >= 1e300) return std::nullopt;
  bool highlight = false;
  const SpotFit one = polish_with_fitting_light(patch, searched, highlight, 14);
  const SpotSum two = polish_sum(patch, {a, b}, highlight, 14);
  if (one.cost - two.cost > price_of_second(patch, two, highlight)) return std::nullopt;
  return one;
}

}  // namespace ripplegauge
