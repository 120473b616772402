// Level, contrast and highlight are linear once the phase is known: they are solved for, pixel weights
// robust, clipped pixels counting only where the model is darker than white.
#include "relief/light_fit.hpp"

#include <algorithm>
#include <numeric>

#include "core/gram.hpp"
#include "light_kernel.hpp"

namespace ripplegauge {

double light_ridge(int column) {
  // Contrast hardly changes over a spot; the highlight is a small effect; the rest only needs to be solvable.
  if (column == LightModel::level_terms + 1 || column == LightModel::level_terms + 2) return 0.02;
  if (column >= LightModel::level_terms + LightModel::contrast_terms) return 2e-3;
  return 1e-6;
}

std::span<const int> PixelArrays::clipped_in(std::size_t from, std::size_t to) const {
  // Plain pointers: older libraries make spans of nothing else.
  const int* const end = clipped.data() + clipped.size();
  const int* const first = std::lower_bound(clipped.data(), end, static_cast<int>(from));
  return {first, std::lower_bound(first, end, static_cast<int>(to))};
}

namespace {

/// The light on the level columns.
Eigen::Matrix<double, 6, 1> level_light(const PixelGeometry& geometry, const std::vector<float>& light) {
  constexpr int level_and_light = LightModel::level_terms + 1;
  std::array<const float*, level_and_light> columns{};
  for (std::size_t t = 0; t < geometry.level.size(); ++t) columns[t] = geometry.level[t].data();
  columns.back() = light.data();
  Eigen::Matrix<double, level_and_light, level_and_light, Eigen::RowMajor> gram;
  gram_of_columns(columns.data(), level_and_light, LightModel::level_terms, nullptr, light.size(),
                  gram.data());
  return gram.row(LightModel::level_terms).head<6>();
}

}  // namespace

PixelArrays gather(const Patch& patch, const std::vector<int>& pixels) {
  PixelArrays out;
  out.patch = &patch;
  out.geometry = std::make_shared<const PixelGeometry>(geometry_of(patch, pixels));
  const std::size_t n = pixels.size();
  const auto fill = [&](std::vector<float>& array, const std::vector<float>& of_patch) {
    array.resize(n);
    for (std::size_t k = 0; k < n; ++k) array[k] = of_patch[static_cast<std::size_t>(pixels[k])];
  };
  fill(out.light, patch.light), fill(out.whitening, patch.whitening);
  fill(out.base.z, patch.base_z);
  fill(out.base.xx, patch.base_xx), fill(out.base.xy, patch.base_xy), fill(out.base.yy, patch.base_yy);
  out.base.slope_x.resize(n), out.base.slope_y.resize(n);
  for (std::size_t k = 0; k < n; ++k) {
    const auto i = static_cast<std::size_t>(pixels[k]);
    out.base.slope_x[k] = patch.base_slope_x[i] + patch.soft_slope_x[i];
    out.base.slope_y[k] = patch.base_slope_y[i] + patch.soft_slope_y[i];
    if (patch.clipped[i]) out.clipped.push_back(static_cast<int>(k));
  }
  out.level_light = level_light(*out.geometry, out.light);
  return out;
}

PixelArrays gather(const Patch& patch) {
  if (patch.geometry == nullptr) return gather(patch, all_pixels(patch));
  PixelArrays out;
  out.patch = &patch;
  out.geometry = patch.geometry;
  out.light = patch.light, out.whitening = patch.whitening;
  out.base = {patch.base_z,  patch.base_slope_x, patch.base_slope_y,
              patch.base_xx, patch.base_xy,      patch.base_yy};
  for (std::size_t i = 0; i < patch.size(); ++i) {
    out.base.slope_x[i] += patch.soft_slope_x[i], out.base.slope_y[i] += patch.soft_slope_y[i];
    if (patch.clipped[i]) out.clipped.push_back(static_cast<int>(i));
  }
  out.level_light = level_light(*out.geometry, out.light);
  return out;
}

std::array<const float*, LightModel::max_terms> light_columns(const PixelArrays& pixels,
                                                              const LightFit& fit) {
  std::array<const float*, LightModel::max_terms> columns{};
  std::size_t t = 0;
  for (const auto& level : pixels.geometry->level) columns[t++] = level.data();
  columns[t++] = fit.profile_value.data();
  for (const auto& column : fit.column) columns[t++] = column.data();
  return columns;
}

void predict_phase(const PixelArrays& pixels, const ReliefAtPixels& relief, const Eigen::Vector3d& drift,
                   LightFit& out) {
  const std::size_t n = pixels.size();
  const PixelGeometry& g = *pixels.geometry;
  for (auto* v : {&out.phase, &out.profile_value, &out.profile_slope, &out.by_slope_x, &out.by_slope_y})
    v->resize(n);
  const Patch& patch = *pixels.patch;
  const auto f = [](double v) { return static_cast<float>(v); };
  const auto& normal = patch.board.normal;
  const auto& across = patch.board.across;
  const kernel::PhaseInput in{0,
                              n,
                              g.ray_x.data(),
                              g.ray_y.data(),
                              g.ray_z.data(),
                              g.inverse_ray_z.data(),
                              g.slope_x.data(),
                              g.slope_y.data(),
                              g.from_normal.data(),
                              g.from_across.data(),
                              g.ray_normal.data(),
                              g.ray_across.data(),
                              g.phase_x.data(),
                              g.phase_y.data(),
                              g.level[1].data(),
                              g.level[2].data(),
                              relief.z.data(),
                              relief.slope_x.data(),
                              relief.slope_y.data(),
                              relief.xx.data(),
                              relief.xy.data(),
                              relief.yy.data(),
                              {f(normal.x), f(normal.y), f(normal.z)},
                              {f(across.x), f(across.y), f(across.z)},
                              f(1 / patch.board.pitch_mm),
                              {f(patch.board.phase_cycles + drift[0]), f(drift[1]), f(drift[2])},
                              patch.blur.xx,
                              patch.blur.xy,
                              patch.blur.yy,
                              patch.learnt_blur};
  static_assert(sizeof(StripeProfile::Sample) == 2 * sizeof(float));
  const kernel::ProfileTables tables{&patch.profile->level(0)->value, StripeProfile::table_size,
                                     StripeProfile::table_stride,     StripeProfile::blurred_levels,
                                     StripeProfile::sharper_levels,   StripeProfile::level_unit};
  const kernel::PhaseOutput output{out.phase.data(), out.by_slope_x.data(), out.by_slope_y.data(),
                                   out.profile_value.data(), out.profile_slope.data()};
  pixels.for_parts([&](std::size_t, std::size_t from, std::size_t to) {
    kernel::PhaseInput part = in;
    part.from = from, part.to = to;
    kernel::predict_phases(part, tables, output);
  });
}

void gram_of_pixels(const PixelArrays& pixels, std::span<const float* const> columns, int first_row,
                    const float* weight, double* gram) {
  const auto count = columns.size();
  std::vector<std::vector<double>> further(pixels.parts() - 1, std::vector<double>(count * count));
  pixels.for_parts([&](std::size_t part, std::size_t from, std::size_t to) {
    std::vector<const float*> here(columns.begin(), columns.end());
    for (const float*& column : here) column += from;
    gram_of_columns(here.data(), static_cast<int>(count), first_row,
                    weight == nullptr ? nullptr : weight + from, to - from,
                    part == 0 ? gram : further[part - 1].data());
  });
  for (const std::vector<double>& of_part : further)
    for (std::size_t a = static_cast<std::size_t>(first_row); a < count; ++a)
      for (std::size_t b = 0; b <= a; ++b) gram[a * count + b] += of_part[a * count + b];
}

void solve_light(const PixelArrays& pixels, const ReliefAtPixels& relief, const LightFitOptions& options,
                 LightFit& out) {
  const std::size_t n = pixels.size();
  const PixelGeometry& g = *pixels.geometry;
  const int terms = light_terms(options);
  for (auto& column : out.column) column.resize(n);
  pixels.for_parts([&](std::size_t, std::size_t from, std::size_t to) {
    for (std::size_t t = 0; t < 2; ++t)
      kernel::multiply(&out.profile_value[from], &g.level[t + 1][from], to - from, &out.column[t][from]);
    if (options.highlight)
      kernel::highlight_columns(&relief.slope_x[from], &relief.slope_y[from],
                                static_cast<float>(options.slope_scale), to - from, &out.column[2][from],
                                &out.column[3][from], &out.column[4][from]);
  });
  const auto light_terms = light_columns(pixels, out);
  std::array<const float*, LightModel::max_terms + 1> columns{};
  std::copy_n(light_terms.begin(), terms, columns.begin());
  columns[static_cast<std::size_t>(terms)] = pixels.light.data();
  using Matrix = Eigen::Matrix<double, LightModel::max_terms, LightModel::max_terms>;
  Eigen::Matrix<double, Eigen::Dynamic, Eigen::Dynamic, Eigen::RowMajor, LightModel::max_terms + 1,
                LightModel::max_terms + 1>
      gram(terms + 1, terms + 1);
  gram_of_pixels(pixels, std::span(columns).first(static_cast<std::size_t>(terms) + 1),
                 LightModel::level_terms, nullptr, gram.data());
  gram.topLeftCorner(LightModel::level_terms, LightModel::level_terms) = g.level_normal;
  gram.row(terms).head<LightModel::level_terms>() = pixels.level_light;
  Matrix normal = Matrix::Identity();
  normal.topLeftCorner(terms, terms) = gram.topLeftCorner(terms, terms);
  LightModel::Coefficients right = LightModel::Coefficients::Zero();
  right.head(terms) = gram.row(terms).head(terms);
  for (int a = 0; a < terms; ++a) normal(a, a) += light_ridge(a) * static_cast<double>(n);
  const Eigen::LLT<Matrix, Eigen::Lower> factor(normal.selfadjointView<Eigen::Lower>());
  out.coefficients = factor.solve(right);
  // Clipped pixels say "at least this bright": where the model is brighter, believe the model (expectation
  // step of a censored regression; Tobin, Econometrica 26:24, 1958, solved by repeated substitution).
  LightModel::Coefficients at_pixel = LightModel::Coefficients::Zero();
  for (int round = 0; round < (pixels.clipped.empty() ? 0 : 4); ++round) {
    LightModel::Coefficients lifted = right;
    for (const int k : pixels.clipped) {
      for (int t = 0; t < terms; ++t) at_pixel[t] = columns[static_cast<std::size_t>(t)][k];
      const double excess = at_pixel.dot(out.coefficients) - pixels.light[static_cast<std::size_t>(k)];
      if (excess > 0) lifted += at_pixel * excess;
    }
    out.coefficients = factor.solve(lifted);
  }
  out.residual.resize(n);
  const Eigen::Matrix<float, LightModel::max_terms, 1> coefficients = out.coefficients.cast<float>();
  std::vector<double> costs(pixels.parts());
  pixels.for_parts([&](std::size_t part, std::size_t from, std::size_t to) {
    std::array<const float*, LightModel::max_terms> here{};
    for (std::size_t t = 0; t < static_cast<std::size_t>(terms); ++t) here[t] = columns[t] + from;
    kernel::residuals(here.data(), coefficients.data(), terms, &pixels.light[from], &pixels.whitening[from],
                      static_cast<float>(pixels.patch->contrast), to - from, &out.residual[from]);
    for (const int k : pixels.clipped_in(from, to))
      out.residual[static_cast<std::size_t>(k)] = std::max(out.residual[static_cast<std::size_t>(k)], 0.0F);
    costs[part] =
        kernel::robust_cost(&out.residual[from], static_cast<float>(options.robust_scale), to - from);
  });
  out.cost = std::accumulate(costs.begin(), costs.end(), 0.0);
}

void light_rows(const PixelArrays& pixels, const LightFit& fit, double robust_scale, double importance,
                LightRows& out) {
  const std::size_t n = pixels.size();
  for (auto* v : {&out.by_phase, &out.by_slope_x, &out.by_slope_y, &out.residual, &out.weight}) v->resize(n);
  const auto f = [](double v) { return static_cast<float>(v); };
  std::vector<double> sums(pixels.parts());
  pixels.for_parts([&](std::size_t part, std::size_t from, std::size_t to) {
    kernel::light_by_slopes({f(fit.coefficients[6]), f(fit.coefficients[7]), f(fit.coefficients[8]),
                             &pixels.geometry->level[1][from], &pixels.geometry->level[2][from],
                             &fit.profile_slope[from], &fit.by_slope_x[from], &fit.by_slope_y[from]},
                            to - from, &out.by_phase[from], &out.by_slope_x[from], &out.by_slope_y[from]);
    sums[part] = kernel::row_weights(&fit.residual[from], &pixels.whitening[from], f(pixels.patch->contrast),
                                     f(robust_scale), f(importance), to - from, &out.weight[from],
                                     &out.residual[from]);
    for (const int k : pixels.clipped_in(from, to)) {
      const auto i = static_cast<std::size_t>(k);
      if (fit.residual[i] != 0) continue;
      sums[part] -= out.weight[i];
      out.weight[i] = 0;  // explained: says nothing
    }
  });
  out.weight_sum = std::accumulate(sums.begin(), sums.end(), 0.0);
}

}  // namespace ripplegauge
