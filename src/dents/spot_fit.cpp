#include "ripplegauge/dents/spot_fit.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>
#include <numbers>
#include <numeric>

#include "radial_search.hpp"
#include "ripplegauge/core/least_squares.hpp"
#include "ripplegauge/core/parallel_for.hpp"
#include "ripplegauge/relief/light_fit.hpp"

namespace ripplegauge {
namespace {

/// What shapes spots are expected to have, weakly (the free surface has the last word): logarithms of the exponents,
/// slants, and the ratio of the axes.
struct ShapePrior {
  int parameter;
  double expected, sigma;
};
constexpr std::array<ShapePrior, 4> shape_priors{{{s_log_p, 0.742, 0.3}, {s_log_n, 1.609, 1.0},
                                                  {s_slant_u, 0, 0.15}, {s_slant_v, 0, 0.15}}};
constexpr double log_axis_ratio_sigma = 0.7;  // creases go to 5 : 1
constexpr double drift_sigma_cycles = 0.02;   // what the bundle leaves undisturbed: 0.001 to 0.02 cycles
constexpr double robust_scale = 3;

/// Beyond these the shape formula degenerates; derivatives past them are simply those at the edge.
SpotVector clamped(SpotVector s) {
  s[s_log_a] = std::clamp(s[s_log_a], -0.7, 4.6);
  s[s_log_b] = std::clamp(s[s_log_b], -0.7, 4.6);
  s[s_height] = std::clamp(s[s_height], -6.0, 6.0);
  s[s_log_p] = std::clamp(s[s_log_p], std::log(1.1), std::log(8.0));
  s[s_log_n] = std::clamp(s[s_log_n], std::log(1.3), std::log(300.0));
  s[s_slant_u] = std::clamp(s[s_slant_u], -0.6, 0.6);
  s[s_slant_v] = std::clamp(s[s_slant_v], -0.6, 0.6);
  return s;
}

/// Sets relief pixel k from a spot's value and its bend there; the base is added.
void set_relief(const Patch& patch, std::size_t i, std::size_t k, const SpotBend& bend, double z, double slope_x,
                double slope_y, ReliefAtPixels& relief) {
  relief.z[k] = static_cast<float>(z) + patch.base_z[i];
  relief.slope_x[k] = static_cast<float>(slope_x) + patch.base_slope_x[i];
  relief.slope_y[k] = static_cast<float>(slope_y) + patch.base_slope_y[i];
  relief.xx[k] = static_cast<float>(bend.xx) + patch.base_xx[i];
  relief.xy[k] = static_cast<float>(bend.xy) + patch.base_xy[i];
  relief.yy[k] = static_cast<float>(bend.yy) + patch.base_yy[i];
}

void relief_of(const Patch& patch, const std::vector<int>& pixels, const SpotVector& spot, ReliefAtPixels& relief) {
  const SpotShape<double> shape(spot);
  relief.resize(pixels.size());
  for (std::size_t k = 0; k < pixels.size(); ++k) {
    const auto i = static_cast<std::size_t>(pixels[k]);
    const MirrorPixel& p = patch.pixel[i];
    const double z0 = shape.at(p.x_mm, p.y_mm).z;
    const double x = p.shifted_x(z0), y = p.shifted_y(z0);
    const auto value = shape.at(x, y);
    set_relief(patch, i, k, shape.bend_at(x, y), value.z, value.slope_x, value.slope_y, relief);
  }
}

struct FitRequest {
  std::vector<int> active;  ///< spot parameters that move
  bool drift = false, highlight = false;
  int iterations = 10;
};

struct FitOutcome {
  SpotVector spot;
  Eigen::Vector3d drift = Eigen::Vector3d::Zero();
  double cost = 1e300;
};

LightFitOptions light_options(const SpotVector& spot, bool highlight) {
  return {highlight, std::max(0.6 * std::abs(spot[s_height]) / mean_radius_mm(spot), 1e-4), robust_scale};
}

/// Levenberg-Marquardt on the spot (and drift); the light is eliminated from the normal equations, since it is linear
/// (variable projection; Golub & Pereyra, SIAM J. Numer. Anal. 10:413, 1973, in Kaufman's form).
FitOutcome fit(const Patch& patch, const std::vector<int>& pixels, const SpotVector& start, const FitRequest& request,
               const Eigen::Vector3d& start_drift = Eigen::Vector3d::Zero()) {
  const int shape_count = static_cast<int>(request.active.size());
  const int count = shape_count + (request.drift ? 3 : 0);
  const double importance =
      patch.effective_pixel_share * static_cast<double>(patch.size()) / static_cast<double>(pixels.size());
  ReliefAtPixels relief;
  LightFit light;
  const auto expand = [&](const Eigen::VectorXd& x) {
    SpotVector spot = start;
    for (int a = 0; a < shape_count; ++a) spot[request.active[static_cast<std::size_t>(a)]] = x[a];
    return spot;
  };
  const auto drift_of = [&](const Eigen::VectorXd& x) {
    return request.drift ? Eigen::Vector3d(x.tail<3>()) : start_drift;
  };
  constexpr int light_terms_max = LightModel::max_terms;
  constexpr int all_max = spot_parameters + 3 + light_terms_max;
  std::vector<float> dual_slopes;
  const auto equations = [&](const Eigen::VectorXd& x, bool with_derivatives, NormalEquations& out) {
    const SpotVector spot = clamped(expand(x));
    const Eigen::Vector3d drift = drift_of(x);
    const LightFitOptions options = light_options(spot, request.highlight);
    const std::size_t n = pixels.size();
    relief.resize(n);
    if (with_derivatives) {
      const SpotShape<double> plain(spot);
      const SpotShape<SpotDual> shape(spot);
      dual_slopes.resize(n * 2 * spot_parameters);
      for (std::size_t k = 0; k < n; ++k) {
        const auto i = static_cast<std::size_t>(pixels[k]);
        const MirrorPixel& p = patch.pixel[i];
        const double z0 = plain.at(p.x_mm, p.y_mm).z;
        const double at_x = p.shifted_x(z0), at_y = p.shifted_y(z0);
        const auto value = shape.at(at_x, at_y);
        set_relief(patch, i, k, plain.bend_at(at_x, at_y), value.z.value, value.slope_x.value, value.slope_y.value, relief);
        float* d = dual_slopes.data() + k * 2 * spot_parameters;
        for (int a = 0; a < spot_parameters; ++a) {
          d[a] = static_cast<float>(value.slope_x.gradient[a]);
          d[spot_parameters + a] = static_cast<float>(value.slope_y.gradient[a]);
        }
      }
    } else {
      relief_of(patch, pixels, spot, relief);
    }
    predict_phase(patch, pixels, relief, drift, light);
    solve_light(patch, pixels, relief, options, light);
    out.cost = importance * light.cost;
    if (with_derivatives) {
      const int light_terms =
          request.highlight ? light_terms_max : LightModel::level_terms + LightModel::contrast_terms;
      const int all = count + light_terms;
      using Row = Eigen::Matrix<double, all_max, 1>;
      Eigen::Matrix<double, all_max, all_max> h = Eigen::Matrix<double, all_max, all_max>::Zero();
      Row g = Row::Zero(), row = Row::Zero();
      LightModel::Coefficients columns = LightModel::Coefficients::Zero();
      double weight_sum = 0;
      for (std::size_t k = 0; k < n; ++k) {
        const auto i = static_cast<std::size_t>(pixels[k]);
        const double r = light.residual[k];
        if (patch.clipped[i] && r == 0) continue;  // explained: says nothing
        light_columns(patch, i, light.profile_value[k], relief.slope_x[k], relief.slope_y[k], options, columns);
        const double contrast = light.coefficients[6] + light.coefficients[7] * patch.xn(i) + light.coefficients[8] * patch.yn(i);
        const double by_phase = contrast * light.profile_slope[k];
        const float* d = dual_slopes.data() + k * 2 * spot_parameters;
        for (int a = 0; a < shape_count; ++a) {
          const int s = request.active[static_cast<std::size_t>(a)];
          row[a] = by_phase * (light.by_slope_x[k] * d[s] + light.by_slope_y[k] * d[spot_parameters + s]);
        }
        if (request.drift) {
          row[shape_count] = by_phase;
          row[shape_count + 1] = by_phase * patch.xn(i);
          row[shape_count + 2] = by_phase * patch.yn(i);
        }
        for (int a = 0; a < light_terms; ++a) row[count + a] = columns[a];
        const double w0 = patch.whitening[i] / patch.contrast;
        const double w = importance * pseudo_huber_weight(r, robust_scale);
        weight_sum += w * w0 * w0;
        for (int a = 0; a < all; ++a) {
          const double wa = w * w0 * row[a];
          g[a] -= wa * r;  // the residual is data minus model
          const double waa = wa * w0;
          for (int b = 0; b <= a; ++b) h(a, b) += waa * row[b];
        }
      }
      for (int a = 0; a < light_terms; ++a)
        h(count + a, count + a) += std::max(light_ridge(a), 1e-9) * weight_sum;
      const auto full = h.topLeftCorner(all, all).selfadjointView<Eigen::Lower>();
      const Eigen::MatrixXd dense = full;
      const Eigen::MatrixXd ll = dense.bottomRightCorner(light_terms, light_terms);
      const Eigen::MatrixXd lp = dense.bottomLeftCorner(light_terms, count);
      const Eigen::LDLT<Eigen::MatrixXd> factor(ll);
      out.hessian = dense.topLeftCorner(count, count) - lp.transpose() * factor.solve(lp);
      out.gradient = g.head(count);
    }
    for (int a = 0; a < shape_count; ++a) {
      const int s = request.active[static_cast<std::size_t>(a)];
      for (const ShapePrior& prior : shape_priors)
        if (prior.parameter == s) out.add_prior(a, x[a], prior.expected, prior.sigma);
      if (s == s_log_a || s == s_log_b) {
        const double r = (spot[s_log_a] - spot[s_log_b]) / log_axis_ratio_sigma;
        if (s == s_log_a) out.cost += 0.5 * r * r;
        out.gradient[a] += (s == s_log_a ? r : -r) / log_axis_ratio_sigma;
        out.hessian(a, a) += 1 / (log_axis_ratio_sigma * log_axis_ratio_sigma);
      }
    }
    if (request.drift)
      for (int a = shape_count; a < count; ++a) out.add_prior(a, x[a], 0, drift_sigma_cycles);
  };
  Eigen::VectorXd x(count);
  for (int a = 0; a < shape_count; ++a) x[a] = start[request.active[static_cast<std::size_t>(a)]];
  if (request.drift) x.tail<3>() = start_drift;
  const LeastSquaresSummary summary = minimise(
      equations, x, {.max_iterations = request.iterations, .relative_cost_tolerance = 1e-5, .initial_damping = 1e-3});
  return {clamped(expand(x)), drift_of(x), summary.final_cost};
}

const std::vector<int> all_parameters{s_x, s_y, s_log_a, s_log_b, s_angle, s_height, s_log_p, s_log_n, s_slant_u, s_slant_v};

/// Pixels for the search: mostly inside the outline, thinly around it, by a fixed stride through a scrambled order.
std::vector<int> search_pixels(const Patch& patch, const Outline& outline, std::size_t wanted) {
  std::vector<int> inside, around;
  for (std::size_t i = 0; i < patch.size(); ++i) {
    const double dx = patch.pixel[i].x_mm - outline.x_mm, dy = patch.pixel[i].y_mm - outline.y_mm;
    const double c = std::cos(outline.angle_rad), s = std::sin(outline.angle_rad), e = std::sqrt(outline.elongation);
    const double rho = std::hypot((c * dx + s * dy) / e, (c * dy - s * dx) * e) / outline.radius_mm;
    (rho < 1.2 ? inside : around).push_back(static_cast<int>(i));
  }
  std::vector<int> chosen;
  const auto take = [&](const std::vector<int>& from, std::size_t n) {
    if (from.empty()) return;
    n = std::min(n, from.size());
    // Golden-ratio stepping spreads the choice evenly over rows and columns.
    for (std::size_t k = 0; k < n; ++k) {
      const double at = std::fmod(0.5 + static_cast<double>(k) * 0.6180339887498949, 1.0);
      chosen.push_back(from[static_cast<std::size_t>(at * static_cast<double>(from.size()))]);
    }
  };
  take(inside, wanted * 2 / 3);
  take(around, wanted / 3);
  std::sort(chosen.begin(), chosen.end());
  chosen.erase(std::unique(chosen.begin(), chosen.end()), chosen.end());
  return chosen;
}

std::vector<double> geometric(double from, double to, double ratio) {
  std::vector<double> values;
  for (double v = from; v <= to; v *= ratio) values.push_back(v);
  return values;
}

std::vector<double> displacement_ladder(double from, double to) {
  // Below one cycle cost is smooth in the displacement; above, each basin is some 0.4 cycles wide.
  std::vector<double> values;
  for (double v = from; v < to; v += v < 1 ? 0.45 * v : 0.2) values.push_back(v);
  return values;
}

/// Starts that would fall into the same basin are dropped, best first.
std::vector<Start> distinct(std::vector<Start> starts, const Patch& patch, std::size_t keep) {
  std::sort(starts.begin(), starts.end(), [](const Start& a, const Start& b) { return a.cost < b.cost; });
  std::vector<Start> chosen;
  for (const Start& s : starts) {
    const auto same = [&](const Start& o) {
      const double cycles = 1.75 * patch.gain / mean_radius_mm(o.spot);
      const double difference = std::abs(s.spot[s_height] - o.spot[s_height]) * cycles;
      return difference < std::max(0.25, 0.25 * std::abs(o.spot[s_height]) * cycles * 0.3) &&
             std::abs(s.spot[s_log_a] - o.spot[s_log_a]) < 0.09 && std::abs(elongation(s.spot) - elongation(o.spot)) < 0.1 &&
             std::abs(s.spot[s_log_p] - o.spot[s_log_p]) < 0.1 && std::abs(s.spot[s_log_n] - o.spot[s_log_n]) < 0.5 &&
             std::hypot(s.spot[s_x] - o.spot[s_x], s.spot[s_y] - o.spot[s_y]) < 0.1 * mean_radius_mm(o.spot);
    };
    if (std::any_of(chosen.begin(), chosen.end(), same)) continue;
    chosen.push_back(s);
    if (chosen.size() >= keep) break;
  }
  return chosen;
}

}  // namespace

namespace {

/// Exponents p and n of the spot family: a Gaussian, a flat-footed polynomial, two with flatter bottoms.
const std::vector<std::array<double, 2>> few_shapes{{{2.0, 40.0}}, {{2.0, 2.1}}, {{2.6, 20.0}}, {{4.0, 20.0}}};

/// Short fits of all starts, full fits of the best, other shapes about the best of those.
SpotFit finish_starts(const Patch& patch, const Outline& outline, const std::vector<int>& coarse, std::vector<Start> starts,
                      std::size_t keep, const SpotSearchOptions& options) {
  const std::vector<int> fine = search_pixels(patch, outline, 2400);
  starts = distinct(std::move(starts), patch, keep);
  std::vector<FitOutcome> shorts(starts.size());
  parallel_for(starts.size(), options.threads, [&](std::size_t i) {
    shorts[i] = fit(patch, coarse, starts[i].spot,
                    {{s_x, s_y, s_log_a, s_log_b, s_angle, s_height, s_log_n}, false, false, 7});
  });
  const auto better = [](const FitOutcome& a, const FitOutcome& b) { return a.cost < b.cost; };
  std::sort(shorts.begin(), shorts.end(), better);
  std::vector<FitOutcome> best;
  for (const FitOutcome& o : shorts) {
    const auto same = [&](const FitOutcome& b) {
      return std::abs(o.spot[s_height] / b.spot[s_height] - 1) < 0.03 && std::abs(o.spot[s_log_a] - b.spot[s_log_a]) < 0.02 &&
             std::abs(o.spot[s_log_b] - b.spot[s_log_b]) < 0.02;
    };
    if (std::none_of(best.begin(), best.end(), same)) best.push_back(o);
    if (best.size() >= 6) break;
  }
  if (std::none_of(best.begin(), best.end(), [&](const FitOutcome& o) { return options.worth_finishing(o.spot); })) {
    SpotFit hopeless;
    if (!best.empty()) hopeless.spot = best.front().spot;
    return hopeless;
  }
  // The best of the other sign always gets its chance: sign is what must not be wrong.
  for (const FitOutcome& o : shorts)
    if (!best.empty() && o.spot[s_height] * best.front().spot[s_height] < 0) {
      best.push_back(o);
      break;
    }
  const auto fit_fully = [&](const std::vector<SpotVector>& from) {
    std::vector<FitOutcome> outcomes(from.size());
    parallel_for(from.size(), options.threads,
                 [&](std::size_t i) { outcomes[i] = fit(patch, fine, from[i], {all_parameters, false, false, 14}); });
    return outcomes;
  };
  std::vector<SpotVector> from;
  for (const FitOutcome& o : best) from.push_back(o.spot);
  std::vector<FitOutcome> full = fit_fully(from);
  std::sort(full.begin(), full.end(), better);
  SpotFit result;
  if (full.empty()) return result;
  // Other shapes about the best, in case its exponents stuck.
  from.clear();
  for (const auto& [power, order] : few_shapes) {
    SpotVector other = full.front().spot;
    other[s_log_p] = std::log(power), other[s_log_n] = std::log(order);
    other[s_slant_u] *= 0.5, other[s_slant_v] *= 0.5;
    from.push_back(other);
  }
  const std::vector<FitOutcome> reshaped = fit_fully(from);
  full.insert(full.end(), reshaped.begin(), reshaped.end());
  std::sort(full.begin(), full.end(), better);
  result.spot = full.front().spot;
  result.search_cost = result.cost = full.front().cost;
  for (const FitOutcome& o : full)
    if (o.spot[s_height] * result.spot[s_height] < 0) result.opposite_cost = std::min(result.opposite_cost, o.cost);
  return result;
}

/// The best start of every basin (sign, size, fringe order), drawn to its place by a few steps on few pixels: the
/// denser the fringes, the nearer a start must lie to show what it is worth, and a good wrong one has a hundred places.
std::vector<Start> one_per_basin(const Patch& patch, const std::vector<int>& pixels, const std::vector<Start>& starts, int threads) {
  constexpr double size_step = 0.16, order_step = 0.4;  // as wide as a basin: 17 % in size, 0.4 cycles in displacement
  std::map<std::array<int, 3>, Start> best;
  for (const Start& s : starts) {
    const double log_radius = std::log(mean_radius_mm(s.spot));
    const double cycles = 1.75 * patch.gain * std::abs(s.spot[s_height]) / mean_radius_mm(s.spot);
    const std::array<int, 3> basin{s.spot[s_height] > 0, static_cast<int>(std::lround(log_radius / size_step)),
                                   static_cast<int>(std::lround(cycles / order_step))};
    const auto [at, is_new] = best.try_emplace(basin, s);
    if (!is_new && s.cost < at->second.cost) at->second = s;
  }
  std::vector<Start> chosen;
  for (const auto& [basin, start] : best) chosen.push_back(start);
  constexpr std::size_t most = 120;  // of some 300: the worst half has never won
  std::sort(chosen.begin(), chosen.end(), [](const Start& a, const Start& b) { return a.cost < b.cost; });
  if (chosen.size() > most) chosen.resize(most);
  std::vector<Start> drawn(chosen.size());
  parallel_for(chosen.size(), threads, [&](std::size_t i) {
    const FitOutcome o =
        fit(patch, pixels, chosen[i].spot, {{s_x, s_y, s_log_a, s_log_b, s_angle, s_height}, false, false, 5});
    drawn[i] = {o.cost, o.spot};
  });
  return drawn;
}

/// The R2 sequence (Roberts' generalised golden ratio, own words; fills a unit square evenly): element k, coordinate d of 4.
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
  const std::vector<int> coarse = search_pixels(patch, outline, 1100);
  if (coarse.size() < 100) return {};
  std::vector<Start> starts;
  const double r = outline.radius_mm;
  RadialSearch(patch, coarse, outline)
      .run(geometric(0.62 * r, 1.25 * r, 1.045), few_shapes, displacement_ladder(0.12, 8.8), starts);
  Outline round = outline;
  round.elongation = 1;
  if (outline.elongation > 1.15)
    RadialSearch(patch, coarse, round)
        .run(geometric(0.4 * r, 1.4 * r, 1.08), {{{2.0, 20.0}}}, displacement_ladder(0.12, 6), starts);
  return finish_starts(patch, outline, coarse, std::move(starts), static_cast<std::size_t>(24 * options.effort), options);
}

SpotFit search_spot_widely(const Patch& patch, const Outline& outline, const SpotSearchOptions& options) {
  const std::vector<int> coarse = search_pixels(patch, outline, 1100);
  if (coarse.size() < 100) return {};
  constexpr std::size_t enough_to_rank = 400;
  const std::vector<int> sparse = search_pixels(patch, outline, enough_to_rank);
  const double r = outline.radius_mm;
  std::vector<Start> starts;
  const auto search_about = [&](const Outline& o, double size_ratio, const std::vector<std::array<double, 2>>& shapes) {
    RadialSearch(patch, sparse, o)
        .run(geometric(0.5 * r, 1.3 * r, size_ratio), shapes, displacement_ladder(0.15, 8.8), starts);
  };
  constexpr int outlines = 80;
  for (int k = 0; k < outlines; ++k) {
    Outline o = outline;
    const double away = 0.4 * r * std::sqrt(even(k, 0)), direction = 2 * std::numbers::pi * even(k, 1);
    o.x_mm += away * std::cos(direction), o.y_mm += away * std::sin(direction);
    o.elongation = std::exp(1.4 * std::pow(even(k, 2), 2));
    o.angle_rad = std::numbers::pi * even(k, 3);
    search_about(o, 1.18, {{{2.0, 20.0}}, {{2.0, 2.1}}});
  }
  starts = one_per_basin(patch, sparse, starts, options.threads);
  // Fits of a wrong size and order still find the middle: look once more, and closely, at all of them about the best.
  std::sort(starts.begin(), starts.end(), [](const Start& x, const Start& y) { return x.cost < y.cost; });
  constexpr std::size_t places = 12;
  std::vector<Outline> middles;
  for (const Start& s : starts) {
    const Outline o = outline_of(s.spot);
    const auto same = [&](const Outline& m) {
      return std::hypot(o.x_mm - m.x_mm, o.y_mm - m.y_mm) < 0.05 * r && std::abs(o.elongation - m.elongation) < 0.1;
    };
    if (std::none_of(middles.begin(), middles.end(), same)) middles.push_back(o);
    if (middles.size() == places) break;
  }
  starts.clear();
  for (const Outline& middle : middles) search_about(middle, 1.08, few_shapes);
  constexpr std::size_t keep = 24;
  return finish_starts(patch, outline, coarse, one_per_basin(patch, sparse, starts, options.threads), keep, options);
}

SpotFit polish_spot(const Patch& patch, const SpotVector& start, bool highlight, int iterations) {
  const FitOutcome o = fit(patch, all_pixels(patch), start, {all_parameters, true, highlight, iterations});
  SpotFit result;
  result.spot = o.spot;
  result.drift = o.drift;
  result.cost = o.cost;
  return result;
}

void explain(Patch& patch, const SpotVector& spot) {
  ReliefAtPixels relief;
  relief_of(patch, all_pixels(patch), spot, relief);
  patch.base_z = std::move(relief.z);
  patch.base_slope_x = std::move(relief.slope_x);
  patch.base_slope_y = std::move(relief.slope_y);
  patch.base_xx = std::move(relief.xx);
  patch.base_xy = std::move(relief.xy);
  patch.base_yy = std::move(relief.yy);
}

void set_whitening(Patch& patch, const SpotVector& spot) {
  ReliefAtPixels relief;
  LightFit light;
  const std::vector<int> pixels = all_pixels(patch);
  relief_of(patch, pixels, spot, relief);
  predict_phase(patch, pixels, relief, Eigen::Vector3d::Zero(), light);
  for (std::size_t i = 0; i < patch.size(); ++i) patch.whitening[i] = whitening_at(patch, light.phase[i]);
}

std::vector<float> whitened_residuals(const Patch& patch, const SpotVector& spot, const Eigen::Vector3d& drift,
                                      bool highlight) {
  ReliefAtPixels relief;
  LightFit light;
  const std::vector<int> pixels = all_pixels(patch);
  relief_of(patch, pixels, spot, relief);
  predict_phase(patch, pixels, relief, drift, light);
  solve_light(patch, pixels, relief, light_options(spot, highlight), light);
  return light.residual;
}

}  // namespace ripplegauge
