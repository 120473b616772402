// Fits spots to intensities: Levenberg-Marquardt over their parameters and the slow phase drift, the light
// eliminated.
#include "spot_problem.hpp"

#include <algorithm>
#include <cmath>
#include <functional>
#include <memory>
#include <numbers>

#include "core/gram.hpp"
#include "dents/spot_fit.hpp"
#include "spot_kernel.hpp"

namespace ripplegauge {
namespace {

/// What shapes spots are expected to have, weakly (the free surface has the last word): logarithms of the
/// exponents, slants, and the ratio of the axes.
struct ShapePrior {
  int parameter;
  double expected, sigma;
};
constexpr std::array<ShapePrior, 4> shape_priors{
    {{s_log_p, 0.742, 0.3}, {s_log_n, 1.609, 1.0}, {s_slant_u, 0, 0.15}, {s_slant_v, 0, 0.15}}};
constexpr double log_axis_ratio_sigma = 0.7;  // creases go to 5 : 1
constexpr double drift_sigma_cycles = 0.02;   // what the bundle leaves undisturbed: 0.001 to 0.02 cycles

kernel::Spot kernel_spot(const SpotVector& s) {
  const auto f = [](double v) { return static_cast<float>(v); };
  const double order = std::exp(s[s_log_n]), by_order = std::log(10.0) / order, rim = rim_share(order);
  return {f(s[s_x]),
          f(s[s_y]),
          f(std::exp(-s[s_log_a])),
          f(std::exp(-s[s_log_b])),
          f(std::cos(s[s_angle])),
          f(std::sin(s[s_angle])),
          f(s[s_height]),
          f(std::exp(s[s_log_p])),
          f(order),
          f(rim),
          f(-by_order * std::exp(-by_order) / rim),
          f(s[s_slant_u]),
          f(s[s_slant_v])};
}

/// Normal equations of spots (and drift) over some pixels; the light is eliminated from them, since it is
/// linear (variable projection; Golub & Pereyra, SIAM J. Numer. Anal. 10:413, 1973, in Kaufman's form).
/// Unknowns: the active parameters of each spot in turn, then the drift.
class SpotProblem {
 public:
  SpotProblem(const PixelArrays& pixels, std::span<const SpotVector> start, const FitRequest& request,
              const Eigen::Vector3d& start_drift)
      : pixels_(pixels),
        start_(start.begin(), start.end()),
        request_(request),
        start_drift_(start_drift),
        importance_(importance_of(pixels)) {}

  int size() const { return shape_count() + (request_.drift ? drift_terms : 0); }

  ParameterBounds bounds() const {
    const ParameterBounds& of_spot = spot_bounds();
    ParameterBounds all = no_bounds(size());
    for (int a = 0; a < shape_count(); ++a) {
      all.lower[a] = of_spot.lower[parameter(a)];
      all.upper[a] = of_spot.upper[parameter(a)];
    }
    return all;
  }

  Eigen::VectorXd unknowns() const {
    Eigen::VectorXd x(size());
    for (int a = 0; a < shape_count(); ++a) x[a] = start_[spot_number(a)][parameter(a)];
    if (request_.drift) x.tail<drift_terms>() = start_drift_;
    return x;
  }
  std::vector<SpotVector> spots_of(const Eigen::VectorXd& x) const {
    std::vector<SpotVector> spots = start_;
    for (int a = 0; a < shape_count(); ++a) spots[spot_number(a)][parameter(a)] = x[a];
    for (SpotVector& spot : spots) spot = clamped(spot);
    return spots;
  }
  Eigen::Vector3d drift_of(const Eigen::VectorXd& x) const {
    return request_.drift ? Eigen::Vector3d(x.tail<drift_terms>()) : start_drift_;
  }

  void operator()(const Eigen::VectorXd& x, bool with_derivatives, NormalEquations& out) {
    const std::vector<SpotVector> spots = spots_of(x);
    const LightFitOptions options = light_options(spots, request_.highlight);
    if (seen_.size() != x.size() || seen_ != x) {  // a step that was taken is asked about twice
      relief_of(pixels_, spots, hits_, relief_);
      predict_phase(pixels_, relief_, drift_of(x), light_);
      solve_light(pixels_, relief_, options, light_);
      seen_ = x;
    }
    out.cost = importance_ * light_.cost;
    if (with_derivatives) add_derivatives(spots, options, out);
    if (request_.shape_priors) add_shape_priors(x, spots, request_.active, out);
    if (request_.drift)
      for (int a = shape_count(); a < size(); ++a) out.add_prior(a, x[a], 0, drift_sigma_cycles);
  }

 private:
  static constexpr int drift_terms = 3;

  int active() const { return static_cast<int>(request_.active.size()); }
  int shape_count() const { return active() * static_cast<int>(start_.size()); }
  std::size_t spot_number(int a) const { return static_cast<std::size_t>(a / active()); }
  int parameter(int a) const { return request_.active[static_cast<std::size_t>(a % active())]; }

  /// Columns of the Jacobian: spots, drift, light; last the residuals. All in light.
  void set_columns(const std::vector<SpotVector>& spots, const LightFitOptions& options) {
    const std::size_t n = pixels_.size();
    light_rows(pixels_, light_, robust_scale, importance_, of_light_);
    rows_.resize(spot_parameters * spots.size());
    for (auto& row : rows_) row.resize(n);
    pixels_.for_parts([&](std::size_t, std::size_t from, std::size_t to) {
      for (std::size_t k = 0; k < spots.size(); ++k) {
        float* rows[spot_parameters];
        for (std::size_t s = 0; s < spot_parameters; ++s) rows[s] = &rows_[k * spot_parameters + s][from];
        kernel::spot_rows(kernel_spot(spots[k]), {to - from, &hits_.x_mm[from], &hits_.y_mm[from]},
                          &of_light_.by_slope_x[from], &of_light_.by_slope_y[from], rows);
      }
    });
    columns_.clear();
    for (int a = 0; a < shape_count(); ++a)
      columns_.push_back(
          rows_[spot_number(a) * spot_parameters + static_cast<std::size_t>(parameter(a))].data());
    if (request_.drift) {
      drift_x_.resize(n), drift_y_.resize(n);
      for (std::size_t i = 0; i < n; ++i) {
        drift_x_[i] = of_light_.by_phase[i] * pixels_.geometry->level[1][i];
        drift_y_[i] = of_light_.by_phase[i] * pixels_.geometry->level[2][i];
      }
      for (const auto* v : {&of_light_.by_phase, &drift_x_, &drift_y_}) columns_.push_back(v->data());
    }
    const auto light = light_columns(pixels_, light_);
    columns_.insert(columns_.end(), light.begin(), light.begin() + light_terms(options));
    columns_.push_back(of_light_.residual.data());
  }

  void add_derivatives(const std::vector<SpotVector>& spots, const LightFitOptions& options,
                       NormalEquations& out) {
    set_columns(spots, options);
    const int columns = static_cast<int>(columns_.size()), terms = light_terms(options), count = size();
    Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor> gram(columns, columns);
    gram_of_pixels(pixels_, columns_, 0, of_light_.weight.data(), gram.data());
    for (int t = 0; t < terms; ++t)
      gram(count + t, count + t) += std::max(light_ridge(t), 1e-9) * of_light_.weight_sum;
    const Eigen::MatrixXd ll = gram.block(count, count, terms, terms).selfadjointView<Eigen::Lower>();
    const Eigen::MatrixXd lp = gram.block(count, 0, terms, count);
    const Eigen::MatrixXd pp = gram.topLeftCorner(count, count).selfadjointView<Eigen::Lower>();
    out.hessian = pp - lp.transpose() * ll.ldlt().solve(lp);
    out.gradient = -gram.row(columns - 1).head(count);  // the residual is data minus model
  }

  const PixelArrays& pixels_;
  const std::vector<SpotVector> start_;
  const FitRequest request_;
  const Eigen::Vector3d start_drift_;
  const double importance_;
  Eigen::VectorXd seen_;  ///< where hits_, relief_ and light_ belong to
  HitPoints hits_;
  ReliefAtPixels relief_;
  LightFit light_;
  std::vector<std::vector<float>> rows_;
  LightRows of_light_;
  std::vector<float> drift_x_, drift_y_;
  std::vector<const float*> columns_;
};

// Beyond these the shape formula degenerates.
ParameterBounds make_spot_bounds() {
  ParameterBounds bounds = no_bounds(spot_parameters);
  const auto bound = [&](SpotParameter parameter, double lower, double upper) {
    bounds.lower[parameter] = lower, bounds.upper[parameter] = upper;
  };
  for (const SpotParameter axis : {s_log_a, s_log_b}) bound(axis, -0.7, 4.6);
  bound(s_height, -6, 6);
  bound(s_log_p, std::log(1.1), std::log(8.0));
  // Below 2 the foot would bend without bound, as no metal does: single pixels there would move the cost in
  // jumps.
  bound(s_log_n, std::log(2.0), std::log(300.0));
  for (const SpotParameter slant : {s_slant_u, s_slant_v}) bound(slant, -0.6, 0.6);
  return bounds;
}

}  // namespace

const ParameterBounds& spot_bounds() {
  static const ParameterBounds bounds = make_spot_bounds();
  return bounds;
}

SpotVector clamped(const SpotVector& s) {
  return s.cwiseMax(spot_bounds().lower).cwiseMin(spot_bounds().upper);
}

const std::vector<int> all_parameters{s_x,      s_y,     s_log_a, s_log_b,   s_angle,
                                      s_height, s_log_p, s_log_n, s_slant_u, s_slant_v};

NormalEquationsFunction equations_of(const PixelArrays& pixels, std::span<const SpotVector> start,
                                     const FitRequest& request) {
  return [problem = std::make_shared<SpotProblem>(pixels, start, request, Eigen::Vector3d::Zero())](
             const Eigen::VectorXd& x, bool with_derivatives, NormalEquations& out) {
    out.reset(problem->size());
    (*problem)(x, with_derivatives, out);
  };
}

void add_shape_priors(const Eigen::VectorXd& x, std::span<const SpotVector> spots,
                      const std::vector<int>& active, NormalEquations& out) {
  int a = 0;
  for (const SpotVector& spot : spots)
    for (const int s : active) {
      for (const ShapePrior& prior : shape_priors)
        if (prior.parameter == s) out.add_prior(a, x[a], prior.expected, prior.sigma);
      if (s == s_log_a || s == s_log_b) {
        const double r = (spot[s_log_a] - spot[s_log_b]) / log_axis_ratio_sigma;
        if (s == s_log_a) out.cost += 0.5 * r * r;
        out.gradient[a] += (s == s_log_a ? r : -r) / log_axis_ratio_sigma;
        out.hessian(a, a) += 1 / (log_axis_ratio_sigma * log_axis_ratio_sigma);
      }
      ++a;
    }
}

LightFitOptions light_options(std::span<const SpotVector> spots, bool highlight) {
  double slope = 1e-4;
  for (const SpotVector& spot : spots)
    slope = std::max(slope, 0.6 * std::abs(spot[s_height]) / mean_radius_mm(spot));
  return {highlight, slope, robust_scale};
}

void relief_of(const PixelArrays& pixels, std::span<const SpotVector> spots, HitPoints& hits,
               ReliefAtPixels& relief) {
  const std::size_t n = pixels.size();
  const PixelGeometry& g = *pixels.geometry;
  hits.x_mm.resize(n), hits.y_mm.resize(n);
  relief.resize(n);
  pixels.for_parts([&](std::size_t, std::size_t from, std::size_t to) {
    const std::size_t count = to - from;
    const auto copied = [&](const std::vector<float>& base, std::vector<float>& to_here) {
      std::copy_n(&base[from], count, &to_here[from]);
    };
    const ReliefAtPixels& base = pixels.base;
    copied(base.z, relief.z);
    for (const SpotVector& spot : spots)
      kernel::add_heights(kernel_spot(spot), {count, &g.x_mm[from], &g.y_mm[from]}, &relief.z[from]);
    for (std::size_t i = from; i < to; ++i) {
      hits.x_mm[i] = g.x_mm[i] + relief.z[i] * g.shift_x[i];
      hits.y_mm[i] = g.y_mm[i] + relief.z[i] * g.shift_y[i];
    }
    copied(base.z, relief.z), copied(base.slope_x, relief.slope_x), copied(base.slope_y, relief.slope_y);
    copied(base.xx, relief.xx), copied(base.xy, relief.xy), copied(base.yy, relief.yy);
    for (const SpotVector& spot : spots)
      kernel::add_relief(kernel_spot(spot), {count, &hits.x_mm[from], &hits.y_mm[from]},
                         {&relief.z[from], &relief.slope_x[from], &relief.slope_y[from], &relief.xx[from],
                          &relief.xy[from], &relief.yy[from]});
  });
}

Relief draw_spots(std::span<const SpotVector> spots, double x_mm, double y_mm, double reach_mm, int cells) {
  Relief map{x_mm - reach_mm, y_mm - reach_mm, 2 * reach_mm / (cells - 1), cells, cells, {}};
  const auto columns = static_cast<std::size_t>(cells);
  map.height_mm.assign(columns * columns, 0.0F);
  std::vector<float> x(columns), y(columns);
  for (SpotVector spot : spots) {
    // From the spot's own middle: single precision far from the origin would show in what bends.
    const double x0 = map.x0_mm - spot[s_x], y0 = map.y0_mm - spot[s_y];
    spot[s_x] = spot[s_y] = 0;
    for (std::size_t c = 0; c < columns; ++c)
      x[c] = static_cast<float>(x0 + static_cast<double>(c) * map.step_mm);
    for (int r = 0; r < cells; ++r) {
      std::fill(y.begin(), y.end(), static_cast<float>(y0 + r * map.step_mm));
      kernel::add_heights(kernel_spot(spot), {columns, x.data(), y.data()}, &map.at(r, 0));
    }
  }
  return map;
}

SlopesByBlur slopes_by_blur(const PixelArrays& pixels, std::span<const SpotVector> spots) {
  const std::size_t n = pixels.size();
  const PixelGeometry& g = *pixels.geometry;
  const Eigen::Matrix2f& moment_mm2 = pixels.patch->blur_moment_mm2;
  HitPoints hits, beside;
  ReliefAtPixels relief, there;
  LightFit seen;
  relief_of(pixels, spots, hits, relief);
  predict_phase(pixels, relief, Eigen::Vector3d::Zero(), seen);
  SlopesByBlur sum{std::vector<float>(n), std::vector<float>(n)};
  const auto add = [&](float factor, const auto& offset_mm) {
    beside = hits;
    there.resize(0), there.resize(n);
    for (std::size_t i = 0; i < n; ++i) {
      const Eigen::Vector2f offset = offset_mm(i);
      beside.x_mm[i] += offset.x(), beside.y_mm[i] += offset.y();
    }
    for (const SpotVector& spot : spots)
      kernel::add_relief(kernel_spot(spot), {n, beside.x_mm.data(), beside.y_mm.data()},
                         {there.z.data(), there.slope_x.data(), there.slope_y.data(), there.xx.data(),
                          there.xy.data(), there.yy.data()});
    for (std::size_t i = 0; i < n; ++i)
      sum.x[i] += factor * there.slope_x[i], sum.y[i] += factor * there.slope_y[i];
  };
  // Second derivatives as differences of slopes: four points have the blur's moments, two more lie off by M
  // k. What both take of the place itself cancels.
  const Eigen::SelfAdjointEigenSolver<Eigen::Matrix2f> axes(moment_mm2);
  const Eigen::Matrix2f points =
      axes.eigenvectors() * axes.eigenvalues().cwiseMax(0).cwiseSqrt().asDiagonal() * std::sqrt(2.0F);
  const auto moment_times_gradient = [&](std::size_t i) -> Eigen::Vector2f {
    const Eigen::Vector2f gradient(
        g.phase_x[i] + seen.by_slope_x[i] * relief.xx[i] + seen.by_slope_y[i] * relief.xy[i],
        g.phase_y[i] + seen.by_slope_x[i] * relief.xy[i] + seen.by_slope_y[i] * relief.yy[i]);
    return moment_mm2 * (2 * std::numbers::pi_v<float> * gradient);
  };
  for (const float sign : {-1.0F, 1.0F}) {
    add(0.25F, [&](std::size_t) -> Eigen::Vector2f { return sign * points.col(0); });
    add(0.25F, [&](std::size_t) -> Eigen::Vector2f { return sign * points.col(1); });
    add(-0.5F, [&](std::size_t i) -> Eigen::Vector2f { return sign * moment_times_gradient(i); });
  }
  return sum;
}

FitOutcome fit_spots(const PixelArrays& pixels, std::span<const SpotVector> start, const FitRequest& request,
                     const Eigen::Vector3d& start_drift, Eigen::MatrixXd* hessian) {
  SpotProblem problem(pixels, start, request, start_drift);
  Eigen::VectorXd x = problem.unknowns();
  const LeastSquaresSummary summary = minimise(std::ref(problem), x,
                                               {.max_iterations = request.iterations,
                                                .relative_cost_tolerance = request.tolerance,
                                                .initial_damping = 1e-3,
                                                .bounds = problem.bounds()},
                                               hessian);
  if (FitWork* work = pixels.patch->work)
    work->pixels += static_cast<std::int64_t>(pixels.size()) * summary.iterations;
  return {problem.spots_of(x), problem.drift_of(x), summary.final_cost};
}

LightFit light_under(const PixelArrays& pixels, std::span<const SpotVector> spots,
                     const Eigen::Vector3d& drift, bool highlight) {
  HitPoints hits;
  ReliefAtPixels relief;
  LightFit light;
  relief_of(pixels, spots, hits, relief);
  predict_phase(pixels, relief, drift, light);
  solve_light(pixels, relief, light_options(spots, highlight), light);
  return light;
}

std::vector<int> spread_evenly(const std::vector<int>& pixels, std::size_t n) {
  std::vector<int> chosen;
  for (std::size_t k = 0; k < std::min(n, pixels.size()); ++k) {
    const double at = std::fmod(0.5 + static_cast<double>(k) * 0.6180339887498949, 1.0);
    chosen.push_back(pixels[static_cast<std::size_t>(at * static_cast<double>(pixels.size()))]);
  }
  return chosen;
}

double importance_of(const PixelArrays& pixels) {
  return pixels.patch->effective_pixel_share * static_cast<double>(pixels.patch->size()) /
         static_cast<double>(pixels.size());
}

}  // namespace ripplegauge
