#include "ripplegauge/relief/light_fit.hpp"

#include <cmath>
#include <numeric>

#include "ripplegauge/core/least_squares.hpp"

namespace ripplegauge {

std::vector<int> all_pixels(const Patch& patch) {
  std::vector<int> pixels(patch.size());
  std::iota(pixels.begin(), pixels.end(), 0);
  return pixels;
}

double light_ridge(int column) {
  // Contrast hardly changes over a spot; the highlight is a small effect; the rest only needs to be solvable.
  if (column == LightModel::level_terms + 1 || column == LightModel::level_terms + 2) return 0.02;
  if (column >= LightModel::level_terms + LightModel::contrast_terms) return 2e-3;
  return 1e-6;
}

int light_columns(const Patch& patch, std::size_t pixel, float profile_value, double slope_x, double slope_y,
                  const LightFitOptions& options, LightModel::Coefficients& columns) {
  const double x = patch.xn(pixel), y = patch.yn(pixel);
  columns[0] = 1, columns[1] = x, columns[2] = y, columns[3] = x * x, columns[4] = x * y, columns[5] = y * y;
  columns[6] = profile_value, columns[7] = profile_value * x, columns[8] = profile_value * y;
  if (!options.highlight) return LightModel::level_terms + LightModel::contrast_terms;
  const double u = slope_x / options.slope_scale, v = slope_y / options.slope_scale;
  columns[9] = u, columns[10] = v, columns[11] = u * u + v * v;
  return LightModel::max_terms;
}

void predict_phase(const Patch& patch, const std::vector<int>& pixels, const ReliefAtPixels& relief,
                   const Eigen::Vector3d& drift, LightFit& out) {
  const std::size_t n = pixels.size();
  out.phase.resize(n), out.profile_value.resize(n), out.profile_slope.resize(n);
  out.by_slope_x.resize(n), out.by_slope_y.resize(n);
  for (std::size_t k = 0; k < n; ++k) {
    const auto i = static_cast<std::size_t>(pixels[k]);
    PhaseAt p = patch.board.phase(patch.pixel[i], relief.z[k], relief.slope_x[k], relief.slope_y[k]);
    p.phase += drift[0] + drift[1] * patch.xn(i) + drift[2] * patch.yn(i);
    // Stripes that the relief crowds together lose contrast to the photo's blur.
    const MirrorPixel& m = patch.pixel[i];
    const float bx = static_cast<float>(p.by_slope_x), by = static_cast<float>(p.by_slope_y);
    const float gx = m.phase_x + bx * relief.xx[k] + by * relief.xy[k], gy = m.phase_y + bx * relief.xy[k] + by * relief.yy[k];
    const float blur = patch.blur_against_learnt(i, gx, gy);
    const auto s = patch.profile->at(p.phase, blur);
    out.phase[k] = static_cast<float>(p.phase);
    out.by_slope_x[k] = static_cast<float>(p.by_slope_x);
    out.by_slope_y[k] = static_cast<float>(p.by_slope_y);
    out.profile_value[k] = s.value;
    out.profile_slope[k] = s.derivative;
  }
}

void solve_light(const Patch& patch, const std::vector<int>& pixels, const ReliefAtPixels& relief,
                 const LightFitOptions& options, LightFit& out) {
  const std::size_t n = pixels.size();
  const int terms = options.highlight ? LightModel::max_terms : LightModel::level_terms + LightModel::contrast_terms;
  using Matrix = Eigen::Matrix<double, LightModel::max_terms, LightModel::max_terms>;
  Matrix normal = Matrix::Zero();
  LightModel::Coefficients right = LightModel::Coefficients::Zero(), columns = LightModel::Coefficients::Zero();
  std::vector<int> clipped;
  for (std::size_t k = 0; k < n; ++k) {
    const auto i = static_cast<std::size_t>(pixels[k]);
    if (patch.clipped[i]) clipped.push_back(static_cast<int>(k));
    light_columns(patch, i, out.profile_value[k], relief.slope_x[k], relief.slope_y[k], options, columns);
    const double light = patch.light[i];
    for (int a = 0; a < terms; ++a) {
      right[a] += columns[a] * light;
      for (int b = 0; b <= a; ++b) normal(a, b) += columns[a] * columns[b];
    }
  }
  for (int a = 0; a < terms; ++a) normal(a, a) += light_ridge(a) * static_cast<double>(n);
  for (int a = terms; a < LightModel::max_terms; ++a) normal(a, a) = 1;
  const Eigen::LLT<Matrix, Eigen::Lower> factor(normal.selfadjointView<Eigen::Lower>());
  out.coefficients = factor.solve(right);
  // Clipped pixels say "at least this bright": where the model is brighter, believe the model (expectation step of a
  // censored regression; Tobin, Econometrica 26:24, 1958, solved by repeated substitution).
  for (int round = 0; round < (clipped.empty() ? 0 : 4); ++round) {
    LightModel::Coefficients lifted = right;
    for (const int k : clipped) {
      const auto i = static_cast<std::size_t>(pixels[static_cast<std::size_t>(k)]);
      const auto kk = static_cast<std::size_t>(k);
      light_columns(patch, i, out.profile_value[kk], relief.slope_x[kk], relief.slope_y[kk], options, columns);
      const double model = columns.head(terms).dot(out.coefficients.head(terms));
      if (model > patch.light[i]) lifted.head(terms) += columns.head(terms) * (model - patch.light[i]);
    }
    out.coefficients = factor.solve(lifted);
  }
  out.residual.resize(n);
  out.cost = 0;
  for (std::size_t k = 0; k < n; ++k) {
    const auto i = static_cast<std::size_t>(pixels[k]);
    light_columns(patch, i, out.profile_value[k], relief.slope_x[k], relief.slope_y[k], options, columns);
    double r = (patch.light[i] - columns.head(terms).dot(out.coefficients.head(terms))) / patch.contrast;
    if (patch.clipped[i]) r = std::max(r, 0.0);
    r *= patch.whitening[i];
    out.residual[k] = static_cast<float>(r);
    out.cost += pseudo_huber_cost(r, options.robust_scale);
  }
}

}  // namespace ripplegauge
