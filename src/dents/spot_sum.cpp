#include "spot_sum.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "radial_search.hpp"
#include "ripplegauge/core/least_squares.hpp"
#include "ripplegauge/core/parallel_for.hpp"
#include "ripplegauge/core/reading.hpp"
#include "ripplegauge/relief/light_fit.hpp"
#include "ripplegauge/relief/surface_fit.hpp"

namespace ripplegauge {
namespace {

constexpr int both = 2 * spot_parameters;
constexpr double robust_scale = 3;
constexpr double drift_sigma_cycles = 0.02;  // what the bundle leaves undisturbed: 0.001 to 0.02 cycles

/// As weakly as for a single spot; the ratio of the axes by its logarithm.
struct ShapePrior {
  int parameter;
  double expected, sigma;
};
constexpr ShapePrior shape_priors[] = {{s_log_p, 0.742, 0.3}, {s_log_n, 1.609, 1.0}, {s_slant_u, 0, 0.15}, {s_slant_v, 0, 0.15}};
constexpr double log_axis_ratio_sigma = 0.7;

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

double height_of(const SpotVector& s, double x_mm, double y_mm) { return SpotShape<double>(s).at(x_mm, y_mm).z; }

/// The relief of a sum at pixels of a patch, the base included; both spots are hit where the ray meets their sum.
class SumRelief {
 public:
  SumRelief(const SpotSum& sum) : first_(sum.first), second_(sum.second) {}

  /// The panel point that pixel i really sees.
  PointMm seen_by(const Patch& patch, std::size_t i) const {
    const MirrorPixel& p = patch.pixel[i];
    const double z = patch.base_z[i] + first_.at(p.x_mm, p.y_mm).z + second_.at(p.x_mm, p.y_mm).z;
    return {p.shifted_x(z), p.shifted_y(z)};
  }

  void set(const Patch& patch, const std::vector<int>& pixels, ReliefAtPixels& relief) const {
    relief.resize(pixels.size());
    for (std::size_t k = 0; k < pixels.size(); ++k) {
      const auto i = static_cast<std::size_t>(pixels[k]);
      const PointMm p = seen_by(patch, i);
      const auto a = first_.at(p.x_mm, p.y_mm), b = second_.at(p.x_mm, p.y_mm);
      const SpotBend c = first_.bend_at(p.x_mm, p.y_mm), d = second_.bend_at(p.x_mm, p.y_mm);
      relief.z[k] = patch.base_z[i] + static_cast<float>(a.z + b.z);
      relief.slope_x[k] = patch.base_slope_x[i] + static_cast<float>(a.slope_x + b.slope_x);
      relief.slope_y[k] = patch.base_slope_y[i] + static_cast<float>(a.slope_y + b.slope_y);
      relief.xx[k] = patch.base_xx[i] + static_cast<float>(c.xx + d.xx);
      relief.xy[k] = patch.base_xy[i] + static_cast<float>(c.xy + d.xy);
      relief.yy[k] = patch.base_yy[i] + static_cast<float>(c.yy + d.yy);
    }
  }

 private:
  SpotShape<double> first_, second_;
};

/// Intensities against the sum of two spots, light eliminated as for one spot.
class SumProblem {
 public:
  SumProblem(const Patch& patch, std::vector<int> pixels, bool drift, bool highlight)
      : patch_(patch), pixels_(std::move(pixels)), arrays_(gather(patch, pixels_)), drift_(drift), highlight_(highlight) {
    importance_ = patch.effective_pixel_share * static_cast<double>(patch.size()) / static_cast<double>(pixels_.size());
  }

  SpotSum fit(const SpotSum& start, int iterations) const {
    Eigen::VectorXd x(both + (drift_ ? 3 : 0));
    x.head<spot_parameters>() = start.first;
    x.segment<spot_parameters>(spot_parameters) = start.second;
    if (drift_) x.tail<3>() = start.drift;
    const LeastSquaresSummary summary =
        minimise([this](const Eigen::VectorXd& at, bool with_derivatives, NormalEquations& out) { equations(at, with_derivatives, out); },
                 x, {.max_iterations = iterations, .relative_cost_tolerance = 1e-5, .initial_damping = 1e-3});
    SpotSum sum = sum_of(x);
    sum.cost = summary.final_cost;
    return sum;
  }

  /// See score_inflation.
  double inflation(const SpotSum& sum, double block_mm) const {
    Work w;
    solve(sum, w);
    constexpr double everywhere_mm = 1e3;
    return score_inflation(patch_, w.light, block_mm, 0, 0, 0, everywhere_mm);
  }

  double cost(const SpotSum& sum) const {
    Work w;
    solve(sum, w);
    return importance_ * w.light.cost;
  }

 private:
  struct Work {
    ReliefAtPixels relief;
    LightFit light;
    LightFitOptions options;
  };

  SpotSum sum_of(const Eigen::VectorXd& x) const {
    SpotSum sum;
    sum.first = clamped(x.head<spot_parameters>());
    sum.second = clamped(x.segment<spot_parameters>(spot_parameters));
    if (drift_) sum.drift = x.tail<3>();
    return sum;
  }

  void solve(const SpotSum& sum, Work& w) const {
    const auto slope = [](const SpotVector& s) { return std::abs(s[s_height]) / mean_radius_mm(s); };
    w.options = {highlight_, std::max(0.6 * std::max(slope(sum.first), slope(sum.second)), 1e-4), robust_scale};
    SumRelief(sum).set(patch_, pixels_, w.relief);
    predict_phase(arrays_, w.relief, sum.drift, w.light);
    solve_light(arrays_, w.relief, w.options, w.light);
  }

  void equations(const Eigen::VectorXd& x, bool with_derivatives, NormalEquations& out) const {
    const SpotSum sum = sum_of(x);
    Work w;
    solve(sum, w);
    out.cost = importance_ * w.light.cost;
    if (with_derivatives) accumulate(sum, w, out);
    for (int part = 0; part < 2; ++part) {
      const int at = part * spot_parameters;
      for (const ShapePrior& prior : shape_priors)
        out.add_prior(at + prior.parameter, x[at + prior.parameter], prior.expected, prior.sigma);
      const double r = (x[at + s_log_a] - x[at + s_log_b]) / log_axis_ratio_sigma;
      out.cost += 0.5 * r * r;
      out.gradient[at + s_log_a] += r / log_axis_ratio_sigma, out.gradient[at + s_log_b] -= r / log_axis_ratio_sigma;
      for (const int s : {s_log_a, s_log_b}) out.hessian(at + s, at + s) += 1 / (log_axis_ratio_sigma * log_axis_ratio_sigma);
    }
    if (drift_)
      for (int a = both; a < both + 3; ++a) out.add_prior(a, x[a], 0, drift_sigma_cycles);
  }

  void accumulate(const SpotSum& sum, const Work& w, NormalEquations& out) const {
    constexpr int all_max = both + 3 + LightModel::max_terms;
    const int count = both + (drift_ ? 3 : 0);
    const int light_terms = ripplegauge::light_terms(w.options);
    const int all = count + light_terms;
    Eigen::Matrix<double, all_max, all_max> h = Eigen::Matrix<double, all_max, all_max>::Zero();
    Eigen::Matrix<double, all_max, 1> g = Eigen::Matrix<double, all_max, 1>::Zero(), row = g;
    LightModel::Coefficients columns = LightModel::Coefficients::Zero();
    const SumRelief plain(sum);
    const SpotShape<SpotDual> first(sum.first), second(sum.second);
    double weight_sum = 0;
    for (std::size_t k = 0; k < pixels_.size(); ++k) {
      const auto i = static_cast<std::size_t>(pixels_[k]);
      const double r = w.light.residual[k];
      if (patch_.clipped[i] && r == 0) continue;  // explained: says nothing
      light_columns(patch_, i, w.light.profile_value[k], w.relief.slope_x[k], w.relief.slope_y[k], w.options, columns);
      const auto& c = w.light.coefficients;
      const double by_phase = (c[6] + c[7] * patch_.xn(i) + c[8] * patch_.yn(i)) * w.light.profile_slope[k];
      const PointMm p = plain.seen_by(patch_, i);
      const auto a = first.at(p.x_mm, p.y_mm), b = second.at(p.x_mm, p.y_mm);
      row.head<spot_parameters>() =
          by_phase * (w.light.by_slope_x[k] * a.slope_x.gradient + w.light.by_slope_y[k] * a.slope_y.gradient);
      row.segment<spot_parameters>(spot_parameters) =
          by_phase * (w.light.by_slope_x[k] * b.slope_x.gradient + w.light.by_slope_y[k] * b.slope_y.gradient);
      if (drift_) row.segment<3>(both) << by_phase, by_phase * patch_.xn(i), by_phase * patch_.yn(i);
      row.segment(count, light_terms) = columns.head(light_terms);
      const double w0 = patch_.whitening[i] / patch_.contrast, weight = importance_ * pseudo_huber_weight(r, robust_scale);
      weight_sum += weight * w0 * w0;
      g.head(all) -= (weight * w0 * r) * row.head(all);  // the residual is data minus model
      h.topLeftCorner(all, all).selfadjointView<Eigen::Lower>().rankUpdate(row.head(all), weight * w0 * w0);
    }
    for (int t = 0; t < light_terms; ++t) h(count + t, count + t) += std::max(light_ridge(t), 1e-9) * weight_sum;
    const Eigen::MatrixXd dense = h.topLeftCorner(all, all).selfadjointView<Eigen::Lower>();
    const Eigen::MatrixXd cross = dense.bottomLeftCorner(light_terms, count);
    out.hessian = dense.topLeftCorner(count, count) -
                  cross.transpose() * dense.bottomRightCorner(light_terms, light_terms).ldlt().solve(cross);
    out.gradient = g.head(count);
  }

  const Patch& patch_;
  std::vector<int> pixels_;
  PixelArrays arrays_;
  bool drift_, highlight_;
  double importance_ = 1;
};

/// Pixels near a spot, spread evenly by golden-ratio stepping.
std::vector<int> pixels_near(const Patch& patch, const SpotVector& spot, double reach, std::size_t wanted) {
  std::vector<int> near, chosen;
  const double reach_mm = reach * std::exp(std::max(spot[s_log_a], spot[s_log_b]));
  for (std::size_t i = 0; i < patch.size(); ++i)
    if (std::hypot(patch.pixel[i].x_mm - spot[s_x], patch.pixel[i].y_mm - spot[s_y]) < reach_mm) near.push_back(static_cast<int>(i));
  if (near.size() <= wanted) return near;
  for (std::size_t k = 0; k < wanted; ++k) {
    const double at = std::fmod(0.5 + static_cast<double>(k) * 0.6180339887498949, 1.0);
    chosen.push_back(near[static_cast<std::size_t>(at * static_cast<double>(near.size()))]);
  }
  std::sort(chosen.begin(), chosen.end());
  chosen.erase(std::unique(chosen.begin(), chosen.end()), chosen.end());
  return chosen;
}

/// A place in a spot: elliptic radius (1 on its 10 % contour) and direction.
PointMm place_in(const SpotVector& s, double rho, double direction) {
  const double u = rho * std::exp(s[s_log_a]) * std::cos(direction), v = rho * std::exp(s[s_log_b]) * std::sin(direction);
  const double c = std::cos(s[s_angle]), n = std::sin(s[s_angle]);
  return {s[s_x] + c * u - n * v, s[s_y] + n * u + c * v};
}

/// Second spots of either sign, anywhere in or beside the first one as it stands: what the residual asks for.
std::vector<SpotSum> added_starts(const Patch& patch, const SpotVector& single, std::size_t keep) {
  Patch rest = patch;
  explain(rest, single);
  const std::vector<int> pixels = pixels_near(rest, single, 1.5, 600);
  if (pixels.size() < 100) return {};
  std::vector<double> radii;
  for (double r = 0.22; r < 0.95; r *= 1.25) radii.push_back(r * mean_radius_mm(single));
  const std::vector<double> displacements{0.1, 0.2, 0.35, 0.55, 0.8, 1.1, 1.4, 1.7, 2.0, 2.3, 2.6, 3.0, 3.4, 3.8};  // cycles
  std::vector<Start> starts;
  constexpr int per_ring = 8;
  for (const double rho : {0.0, 0.35, 0.7, 1.0})
    for (int k = 0; k < (rho == 0 ? 1 : per_ring); ++k) {
      const PointMm p = place_in(single, rho, 2 * std::numbers::pi * k / per_ring);
      RadialSearch(rest, pixels, {p.x_mm, p.y_mm, radii.front(), 1, 0}).run(radii, {{{2.0, 20.0}}, {{2.0, 2.1}}}, displacements, starts);
    }
  std::sort(starts.begin(), starts.end(), [](const Start& a, const Start& b) { return a.cost < b.cost; });
  std::vector<SpotSum> chosen;
  for (const Start& s : starts) {
    const auto same = [&](const SpotSum& o) {
      return std::hypot(s.spot[s_x] - o.second[s_x], s.spot[s_y] - o.second[s_y]) < 0.4 * mean_radius_mm(o.second) &&
             std::abs(s.spot[s_log_a] - o.second[s_log_a]) < 0.3 && s.spot[s_height] * o.second[s_height] > 0 &&
             std::abs(std::log(s.spot[s_height] / o.second[s_height])) < 0.35;
    };
    if (std::any_of(chosen.begin(), chosen.end(), same)) continue;
    chosen.push_back({single, s.spot});
    if (chosen.size() == keep) break;
  }
  return chosen;
}

/// The first one parted in two alike, side by side in any direction.
std::vector<SpotSum> parted_starts(const SumProblem& problem, const SpotVector& single, std::size_t keep) {
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
        sum.cost = problem.cost(sum);
        starts.push_back(sum);
      }
  std::sort(starts.begin(), starts.end(), [](const SpotSum& a, const SpotSum& b) { return a.cost < b.cost; });
  if (starts.size() > keep) starts.resize(keep);
  return starts;
}

/// A dent in a wider, lower spot of the other sign: metal that had to go up around it. One spot alone may take the rim for
/// the dent, so sizes and heights start anew.
std::vector<SpotSum> rimmed_starts(const Patch& patch, const SpotVector& single, std::size_t keep) {
  const SumProblem problem(patch, pixels_near(patch, single, 1.5, 400), false, false);
  constexpr double steepness = 1.75;  // of a Gaussian: steepest slope times 10 % radius over height
  std::vector<SpotSum> starts, chosen;
  for (const double size : {0.5, 0.57, 0.65, 0.74, 0.85, 0.97})
    for (const double rim : {0.1, 0.25})
      for (double cycles = 0.3; cycles < 8.8; cycles += cycles < 1 ? 0.45 * cycles : 0.2) {
        SpotSum sum{single, single};
        sum.first[s_log_a] += std::log(size), sum.first[s_log_b] += std::log(size);
        sum.first[s_height] = std::copysign(cycles / patch.gain * mean_radius_mm(sum.first) / steepness, single[s_height]);
        sum.first[s_log_p] = std::log(2.0), sum.first[s_log_n] = std::log(20.0);
        sum.first[s_slant_u] = sum.first[s_slant_v] = 0;
        sum.second = sum.first;
        constexpr double wider = 1.7;
        sum.second[s_log_a] += std::log(wider), sum.second[s_log_b] += std::log(wider);
        sum.second[s_height] *= -rim;
        sum.cost = problem.cost(sum);
        starts.push_back(sum);
      }
  std::sort(starts.begin(), starts.end(), [](const SpotSum& a, const SpotSum& b) { return a.cost < b.cost; });
  for (const SpotSum& s : starts) {
    const auto same = [&](const SpotSum& o) {
      return std::abs(s.first[s_log_a] - o.first[s_log_a]) < 0.1 && std::abs(s.first[s_height] / o.first[s_height] - 1) < 0.12;
    };
    if (std::none_of(chosen.begin(), chosen.end(), same)) chosen.push_back(s);
    if (chosen.size() == keep) break;
  }
  return chosen;
}

/// Whether the second one is a rim of the first: of the other sign, wider, lower, and about it.
bool is_rimmed(const SpotSum& sum) {
  constexpr double wider = 1.15, lower = 0.6;
  return sum.first[s_height] * sum.second[s_height] < 0 && mean_radius_mm(sum.second) > wider * mean_radius_mm(sum.first) &&
         std::abs(sum.second[s_height]) < lower * std::abs(sum.first[s_height]) &&
         std::hypot(sum.first[s_x] - sum.second[s_x], sum.first[s_y] - sum.second[s_y]) < mean_radius_mm(sum.first);
}

/// Whether the two make one dent: a rimmed one, or two of the same sign with no ridge between them. Where a place between
/// their middles is less than half as deep as either, a person would see two dents.
bool is_one_dent(const SpotSum& sum) {
  if (sum.first[s_height] * sum.second[s_height] < 0) return is_rimmed(sum);
  const double size = mean_radius_mm(sum.first) / mean_radius_mm(sum.second);
  constexpr double most_unlike = 8;
  if (size > most_unlike || size < 1 / most_unlike) return false;
  const double sign = sum.first[s_height] > 0 ? 1 : -1;
  const auto depth = [&](double t) {
    const double x = sum.first[s_x] + t * (sum.second[s_x] - sum.first[s_x]), y = sum.first[s_y] + t * (sum.second[s_y] - sum.first[s_y]);
    return sign * (height_of(sum.first, x, y) + height_of(sum.second, x, y));
  };
  const double shallower = std::min(depth(0), depth(1));
  constexpr int steps = 40;
  for (int i = 1; i < steps; ++i)
    if (depth(static_cast<double>(i) / steps) < 0.5 * shallower) return false;
  return shallower > 0.1 * std::max(depth(0), depth(1));
}

}  // namespace

SpotSum polish_sum(const Patch& patch, const SpotSum& start, bool highlight, int iterations) {
  return SumProblem(patch, all_pixels(patch), true, highlight).fit(start, iterations);
}

void explain(Patch& patch, const SpotSum& sum) {
  ReliefAtPixels relief;
  SumRelief(sum).set(patch, all_pixels(patch), relief);
  patch.base_z = std::move(relief.z);
  patch.base_slope_x = std::move(relief.slope_x);
  patch.base_slope_y = std::move(relief.slope_y);
  patch.base_xx = std::move(relief.xx);
  patch.base_xy = std::move(relief.xy);
  patch.base_yy = std::move(relief.yy);
}

std::optional<SpotSum> find_sum(const PanelScene& scene, const SpotFit& single, const std::vector<SpotVector>& others) {
  const Patch patch = patch_for(scene, single.spot, others, 2.0, 6000);
  if (patch.size() < 600) return std::nullopt;
  bool highlight = false;
  const SpotFit alone = polish_with_fitting_light(patch, single, highlight, 10);
  const SumProblem rough(patch, pixels_near(patch, alone.spot, 1.7, 1200), false, false);
  std::vector<SpotSum> starts = added_starts(patch, alone.spot, 10);
  const std::vector<SpotSum> parted = parted_starts(rough, alone.spot, 4);
  const std::vector<SpotSum> rimmed = rimmed_starts(patch, alone.spot, 8);
  starts.insert(starts.end(), parted.begin(), parted.end());
  starts.insert(starts.end(), rimmed.begin(), rimmed.end());
  std::vector<SpotSum> fits(starts.size());
  parallel_for(starts.size(), scene.threads, [&](std::size_t i) { fits[i] = rough.fit(starts[i], 10); });
  std::erase_if(fits, [](const SpotSum& s) { return !is_one_dent(s); });
  std::sort(fits.begin(), fits.end(), [](const SpotSum& a, const SpotSum& b) { return a.cost < b.cost; });
  constexpr std::size_t finalists = 3;
  if (fits.size() > finalists) fits.resize(finalists);
  std::vector<SpotSum> finished(fits.size());
  parallel_for(fits.size(), scene.threads, [&](std::size_t i) { finished[i] = polish_sum(patch, fits[i], highlight, 14); });
  const auto best = std::min_element(finished.begin(), finished.end(), [](const SpotSum& a, const SpotSum& b) { return a.cost < b.cost; });
  if (best == finished.end() || !is_one_dent(*best)) return std::nullopt;
  // Schwarz, Ann. Stat. 6:461, 1978, with as many samples as there are independent ones.
  const double block_mm = std::max({0.8, 0.25 * mean_radius_mm(alone.spot), patch.peel_cell_mm});
  const double inflation = SumProblem(patch, all_pixels(patch), true, highlight).inflation(*best, block_mm);
  const double independent = static_cast<double>(patch.size()) / inflation;
  const double price = 0.5 * double{spot_parameters} * std::log(std::max(independent, 10.0)) * inflation * patch.effective_pixel_share;
  if (alone.cost - best->cost < price) return std::nullopt;
  SpotSum sum = *best;
  if (!is_rimmed(sum) && mean_radius_mm(sum.second) > mean_radius_mm(sum.first)) std::swap(sum.first, sum.second);
  return sum;
}

}  // namespace ripplegauge
