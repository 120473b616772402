#include "ripplegauge/relief/surface_fit.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <map>

#include "ripplegauge/core/least_squares.hpp"
#include "ripplegauge/core/quantile.hpp"

namespace ripplegauge {
namespace {

using Four = std::array<double, 4>;

Four basis(double t) {
  const double u = 1 - t;
  return {u * u * u / 6, (3 * t * t * t - 6 * t * t + 4) / 6, (-3 * t * t * t + 3 * t * t + 3 * t + 1) / 6, t * t * t / 6};
}
Four basis_first(double t) {
  const double u = 1 - t;
  return {-u * u / 2, (9 * t * t - 12 * t) / 6, (-9 * t * t + 6 * t + 3) / 6, t * t / 2};
}
Four basis_second(double t) { return {1 - t, 3 * t - 2, 1 - 3 * t, t}; }

/// Gram matrix over the real line of the n one-dimensional basis functions, by exact Gauss quadrature a cell.
template <class F>
Eigen::MatrixXd gram(int n, const F& f) {
  constexpr double node[4] = {0.0694318442029737, 0.3300094782075719, 0.6699905217924281, 0.9305681557970263};
  constexpr double weight[4] = {0.1739274225687269, 0.3260725774312731, 0.3260725774312731, 0.1739274225687269};
  Eigen::MatrixXd g = Eigen::MatrixXd::Zero(n, n);
  for (int cell = -3; cell < n; ++cell)
    for (int q = 0; q < 4; ++q) {
      const Four v = f(node[q]);
      for (int i = 0; i < 4; ++i)
        for (int j = 0; j < 4; ++j)
          if (cell + i >= 0 && cell + i < n && cell + j >= 0 && cell + j < n)
            g(cell + i, cell + j) += weight[q] * v[static_cast<std::size_t>(i)] * v[static_cast<std::size_t>(j)];
    }
  return g;
}

}  // namespace

SplineSurface::SplineSurface(const Extent& e, double spacing_mm) : spacing_(spacing_mm) {
  const int half = static_cast<int>(std::ceil(std::max(e.semi_a_mm, e.semi_b_mm) / spacing_mm)) + 1;
  side_ = 2 * half + 1;
  x0_ = e.x_mm - half * spacing_mm, y0_ = e.y_mm - half * spacing_mm;
  column_.assign(static_cast<std::size_t>(side_) * side_, -1);
  std::vector<std::array<int, 2>> where;
  const double c = std::cos(e.angle_rad), s = std::sin(e.angle_rad);
  for (int r = 0; r < side_; ++r)
    for (int k = 0; k < side_; ++k) {
      const double dx = x0_ + k * spacing_ - e.x_mm, dy = y0_ + r * spacing_ - e.y_mm;
      if (std::hypot((c * dx + s * dy) / e.semi_a_mm, (c * dy - s * dx) / e.semi_b_mm) > 1) continue;
      column_[static_cast<std::size_t>(r) * side_ + k] = active_++;
      where.push_back({r, k});
    }
  const Eigen::MatrixXd g0 = gram(side_, basis) * spacing_, g1 = gram(side_, basis_first) / spacing_,
                        g2 = gram(side_, basis_second) / (spacing_ * spacing_ * spacing_);
  bending_.setZero(active_, active_);
  for (int a = 0; a < active_; ++a)
    for (int b = 0; b < active_; ++b) {
      const auto [ra, ka] = where[static_cast<std::size_t>(a)];
      const auto [rb, kb] = where[static_cast<std::size_t>(b)];
      if (std::abs(ra - rb) > 3 || std::abs(ka - kb) > 3) continue;
      bending_(a, b) = g0(ra, rb) * g2(ka, kb) + 2 * g1(ra, rb) * g1(ka, kb) + g2(ra, rb) * g0(ka, kb);
    }
}

SplineSurface::Support SplineSurface::at(double x_mm, double y_mm) const {
  Support s;
  const double u = (x_mm - x0_) / spacing_, v = (y_mm - y0_) / spacing_;
  const int k0 = static_cast<int>(std::floor(u)), r0 = static_cast<int>(std::floor(v));
  if (k0 < -1 || r0 < -1 || k0 > side_ || r0 > side_) return s;
  const Four bx = basis(u - k0), by = basis(v - r0), dx = basis_first(u - k0), dy = basis_first(v - r0);
  const Four ddx = basis_second(u - k0), ddy = basis_second(v - r0);
  const double i1 = 1 / spacing_, i2 = i1 * i1;
  for (int j = 0; j < 4; ++j)
    for (int i = 0; i < 4; ++i) {
      const int r = r0 + j - 1, k = k0 + i - 1;
      if (r < 0 || k < 0 || r >= side_ || k >= side_) continue;
      const int column = column_[static_cast<std::size_t>(r) * side_ + k];
      if (column < 0) continue;
      const auto ii = static_cast<std::size_t>(i), jj = static_cast<std::size_t>(j);
      const int n = s.count++;
      s.index[n] = column;
      s.value[n] = static_cast<float>(bx[ii] * by[jj]);
      s.x[n] = static_cast<float>(dx[ii] * by[jj] * i1);
      s.y[n] = static_cast<float>(bx[ii] * dy[jj] * i1);
      s.xx[n] = static_cast<float>(ddx[ii] * by[jj] * i2);
      s.xy[n] = static_cast<float>(dx[ii] * dy[jj] * i2);
      s.yy[n] = static_cast<float>(bx[ii] * ddy[jj] * i2);
    }
  return s;
}

double SplineSurface::height(const Eigen::VectorXd& coefficients, double x_mm, double y_mm) const {
  const Support s = at(x_mm, y_mm);
  double z = 0;
  for (int n = 0; n < s.count; ++n) z += coefficients[s.index[n]] * s.value[n];
  return z;
}

namespace {

constexpr double robust_scale = 3;
constexpr double drift_sigma_cycles = 0.02;

/// Weight of the scaled bending energy that leaves room for odd shapes: a rim of a seventh of the depth or a kidney's bend
/// has an energy of some 20, so it costs no more than the evidence that a handful of stripe edges give. Ten times this
/// weight holds shapes under coarse stripes to the family, a third of it lets noise draw the contour.
constexpr double prior_with_room = 10, strongest_prior = 1e8;

/// Everything of the fit that depends on the current departure.
struct SurfaceState {
  ReliefAtPixels relief;
  LightFit light;
  double cost = 0;
};

class SurfaceProblem {
 public:
  SurfaceProblem(const Patch& patch, const SurfaceRequest& request, const SplineSurface& surface)
      : patch_(patch), surface_(surface), pixels_(gather(patch, all_pixels(patch))) {
    options_ = {request.highlight, std::max(0.6 * std::abs(request.height_mm) / request.mean_radius_mm, 1e-4), robust_scale};
    support_.reserve(patch.size());
    for (std::size_t i = 0; i < patch.size(); ++i) {
      const double z = patch.base_z[i];
      support_.push_back(surface.at(patch.pixel[i].shifted_x(z), patch.pixel[i].shifted_y(z)));
    }
    const double energy_scale = request.mean_radius_mm / request.height_mm;
    prior_ = surface.bending() * (energy_scale * energy_scale);
  }

  SurfaceState state(const Eigen::VectorXd& c, const Eigen::Vector3d& drift) const {
    SurfaceState s;
    const std::size_t n = patch_.size();
    s.relief.resize(n);
    for (std::size_t i = 0; i < n; ++i) {
      double z = patch_.base_z[i], x = patch_.base_slope_x[i], y = patch_.base_slope_y[i];
      double xx = patch_.base_xx[i], xy = patch_.base_xy[i], yy = patch_.base_yy[i];
      const auto& support = support_[i];
      for (int k = 0; k < support.count; ++k) {
        const double v = c[support.index[k]];
        z += v * support.value[k], x += v * support.x[k], y += v * support.y[k];
        xx += v * support.xx[k], xy += v * support.xy[k], yy += v * support.yy[k];
      }
      s.relief.z[i] = static_cast<float>(z), s.relief.slope_x[i] = static_cast<float>(x), s.relief.slope_y[i] = static_cast<float>(y);
      s.relief.xx[i] = static_cast<float>(xx), s.relief.xy[i] = static_cast<float>(xy), s.relief.yy[i] = static_cast<float>(yy);
    }
    predict_phase(pixels_, s.relief, drift, s.light);
    solve_light(pixels_, s.relief, options_, s.light);
    return s;
  }

  double cost(const SurfaceState& s, const Eigen::VectorXd& c, const Eigen::Vector3d& drift, double lambda, double variance) const {
    return s.light.cost / variance + 0.5 * lambda * c.dot(prior_ * c) + 0.5 * drift.squaredNorm() / (drift_sigma_cycles * drift_sigma_cycles);
  }

  /// Normal equations by departure and drift, light eliminated. Rows m ... m+2 are the drift.
  void equations(const SurfaceState& s, double variance, Eigen::MatrixXd& h, Eigen::VectorXd& g) const {
    const int m = surface_.size(), outer = m + 3;
    const int light_terms = options_.highlight ? LightModel::max_terms : LightModel::level_terms + LightModel::contrast_terms;
    h.setZero(outer, outer);
    g.setZero(outer);
    Eigen::MatrixXd cross = Eigen::MatrixXd::Zero(light_terms, outer), inner = Eigen::MatrixXd::Zero(light_terms, light_terms);
    LightModel::Coefficients columns = LightModel::Coefficients::Zero();
    double weight_sum = 0;
    for (std::size_t i = 0; i < patch_.size(); ++i) {
      const double r = s.light.residual[i];
      if (patch_.clipped[i] && r == 0) continue;
      const double contrast = s.light.coefficients[6] + s.light.coefficients[7] * patch_.xn(i) + s.light.coefficients[8] * patch_.yn(i);
      const double w0 = patch_.whitening[i] / patch_.contrast;
      const double w = pseudo_huber_weight(r, robust_scale) / variance;
      const double by_phase = contrast * s.light.profile_slope[i] * w0;
      light_columns(patch_, i, s.light.profile_value[i], s.relief.slope_x[i], s.relief.slope_y[i], options_, columns);
      const auto& support = support_[i];
      int index[19];
      double row[19];
      int count = 0;
      for (int k = 0; k < support.count; ++k) {
        index[count] = support.index[k];
        row[count++] = by_phase * (s.light.by_slope_x[i] * support.x[k] + s.light.by_slope_y[i] * support.y[k]);
      }
      index[count] = m, row[count++] = by_phase;
      index[count] = m + 1, row[count++] = by_phase * patch_.xn(i);
      index[count] = m + 2, row[count++] = by_phase * patch_.yn(i);
      weight_sum += w * w0 * w0;
      for (int a = 0; a < count; ++a) {
        const double wa = w * row[a];
        g[index[a]] -= wa * r;
        for (int b = 0; b < count; ++b) h(index[a], index[b]) += wa * row[b];
        for (int t = 0; t < light_terms; ++t) cross(t, index[a]) += wa * columns[t] * w0;
      }
      for (int t = 0; t < light_terms; ++t)
        for (int u = 0; u <= t; ++u) inner(t, u) += w * w0 * w0 * columns[t] * columns[u];
    }
    for (int t = 0; t < light_terms; ++t) inner(t, t) += std::max(light_ridge(t), 1e-9) * weight_sum;
    const Eigen::MatrixXd full = inner.selfadjointView<Eigen::Lower>();
    h -= cross.transpose() * full.ldlt().solve(cross);
  }

  const Eigen::MatrixXd& prior() const { return prior_; }

 private:
  const Patch& patch_;
  const SplineSurface& surface_;
  PixelArrays pixels_;
  std::vector<SplineSurface::Support> support_;
  LightFitOptions options_;
  Eigen::MatrixXd prior_;
};

}  // namespace

double score_inflation(const Patch& patch, const LightFit& light, double block_mm, double x_mm, double y_mm, double from_mm,
                       double to_mm) {
  struct Sum {
    double score = 0, information = 0;
  };
  std::map<std::pair<int, int>, Sum> blocks;
  for (std::size_t i = 0; i < patch.size(); ++i) {
    const MirrorPixel& p = patch.pixel[i];
    const double distance = std::hypot(p.x_mm - x_mm, p.y_mm - y_mm);
    if (distance < from_mm || distance > to_mm) continue;
    const double j = light.coefficients[6] * light.profile_slope[i] * patch.whitening[i] / patch.contrast;
    const double r = light.residual[i];
    Sum& sum = blocks[{static_cast<int>(std::floor(p.x_mm / block_mm)), static_cast<int>(std::floor(p.y_mm / block_mm))}];
    sum.score += j * r * pseudo_huber_weight(r, robust_scale);
    sum.information += j * j;
  }
  std::vector<double> information, ratio;
  for (const auto& [key, sum] : blocks) information.push_back(sum.information);
  if (information.size() < 8) return 1;
  const double typical = median_of(information);
  for (const auto& [key, sum] : blocks)
    if (sum.information > 0.2 * typical) ratio.push_back(sum.score * sum.score / sum.information);
  if (ratio.size() < 6) return 1;
  constexpr double chi_square_1_median = 0.455;
  return std::max(1.0, median_of(ratio) / chi_square_1_median);
}

SurfaceFit fit_surface(const Patch& patch, const SurfaceRequest& request) {
  SurfaceFit fit{SplineSurface(request.extent, request.spacing_mm), {}, {}, Eigen::Vector3d::Zero(), 1, 0, {}, false};
  const int m = fit.surface.size();
  if (m < 9 || patch.size() < 400) return fit;
  const SurfaceProblem problem(patch, request, fit.surface);
  Eigen::VectorXd c = Eigen::VectorXd::Zero(m);
  Eigen::Vector3d drift = Eigen::Vector3d::Zero();
  SurfaceState state = problem.state(c, drift);
  const double block_mm = std::max({0.8, 0.25 * request.mean_radius_mm, patch.peel_cell_mm});
  const auto inflation = [&](double from, double to) {
    return score_inflation(patch, state.light, block_mm, request.extent.x_mm, request.extent.y_mm,
                           from * request.mean_radius_mm, to * request.mean_radius_mm);
  };
  // At first all misfit inside is taken for shape, what is left of it later for noise. Pixels are never better than what
  // blur and JPEG make of them, nor than they are around the spot.
  constexpr double far_out = 1.7, everywhere = 1e3;
  const double quiet_inflation = std::max(inflation(far_out, everywhere), 1 / patch.effective_pixel_share);
  fit.noise_inflation = quiet_inflation;
  double lambda = 1e4, damping = 0;
  double cost = problem.cost(state, c, drift, lambda, fit.noise_inflation);
  Eigen::MatrixXd h;
  Eigen::VectorXd g;
  const auto full_matrix = [&](double weight) {
    Eigen::MatrixXd a = h;
    a.topLeftCorner(m, m) += weight * problem.prior();
    for (int k = 0; k < 3; ++k) a(m + k, m + k) += 1 / (drift_sigma_cycles * drift_sigma_cycles);
    return a;
  };
  for (int iteration = 0; iteration < request.iterations; ++iteration) {
    problem.equations(state, fit.noise_inflation, h, g);
    Eigen::VectorXd gradient = g;
    gradient.head(m) += lambda * problem.prior() * c;
    gradient.tail<3>() += drift / (drift_sigma_cycles * drift_sigma_cycles);
    const Eigen::MatrixXd a = full_matrix(lambda);
    double gained = 0;
    for (int attempt = 0; attempt < 5; ++attempt) {
      Eigen::MatrixXd damped = a;
      damped.diagonal() += damping * h.diagonal();
      damped.diagonal().array() += 1e-10 * a.diagonal().maxCoeff();
      const Eigen::VectorXd step = -damped.llt().solve(gradient);
      const Eigen::VectorXd c2 = c + step.head(m);
      const Eigen::Vector3d drift2 = drift + step.tail<3>();
      SurfaceState next = problem.state(c2, drift2);
      const double cost2 = problem.cost(next, c2, drift2, lambda, fit.noise_inflation);
      if (cost2 < cost) {
        gained = cost - cost2;
        c = c2, drift = drift2, state = std::move(next), cost = cost2;
        damping = damping > 0.01 ? damping / 5 : 0;
        break;
      }
      damping = std::max(8 * damping, 0.05);
    }
    // Evidence: how many of the control heights do the data determine?
    const Eigen::MatrixXd inverse = full_matrix(lambda).llt().solve(Eigen::MatrixXd::Identity(m + 3, m + 3));
    fit.effective_parameters = m - lambda * (inverse.topLeftCorner(m, m) * problem.prior()).trace();
    const double energy = c.dot(problem.prior() * c);
    double next_lambda = std::clamp(std::max(fit.effective_parameters, 0.5) / std::max(energy, 1e-6), 1e-2,
                                    request.odd_shape ? prior_with_room : strongest_prior);
    next_lambda = lambda * std::clamp(next_lambda / lambda, 0.125, 8.0);
    const bool settled = std::abs(std::log(next_lambda / lambda)) < 0.1 && gained < 0.5;
    if (iteration > 1) lambda = next_lambda;
    constexpr int first_guess_iterations = 3;
    if (iteration >= first_guess_iterations) fit.noise_inflation = std::max(quiet_inflation, inflation(0, far_out));
    cost = problem.cost(state, c, drift, lambda, fit.noise_inflation);
    if (settled && iteration > 2) break;
  }
  const Eigen::MatrixXd with_room = full_matrix(std::min(lambda, prior_with_room));
  fit.covariance = with_room.llt().solve(Eigen::MatrixXd::Identity(m + 3, m + 3)).topLeftCorner(m, m);
  fit.departure = c;
  fit.drift = drift;
  fit.residual = state.light.residual;
  fit.solved = c.allFinite() && fit.covariance.allFinite();
  return fit;
}

}  // namespace ripplegauge
