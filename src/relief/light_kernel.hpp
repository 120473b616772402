// The arithmetic of light_fit over plain arrays of `count` elements, apart from everything else: its source
// is compiled with the compiler's freest floating-point rules (no NaN, no infinities), so that it becomes
// vector code.
#pragma once

#include <cstddef>

namespace ripplegauge::kernel {

/// What predict_phases reads; names as in PixelArrays and ReliefAtPixels.
struct PhaseInput {
  std::size_t from, to;
  const float *ray_x, *ray_y, *ray_z, *inverse_ray_z, *panel_slope_x, *panel_slope_y, *from_normal,
      *from_across, *ray_normal, *ray_across, *phase_x, *phase_y, *x, *y;
  const float *z, *slope_x, *slope_y, *xx, *xy, *yy;
  float normal[3], across[3], inverse_pitch, drift[3];  ///< drift: constant and board phase, by x, by y
  float blur_xx, blur_xy, blur_yy, learnt_blur;
};

/// The stripe profile's tables: pairs of value and derivative, see StripeProfile.
struct ProfileTables {
  const float* level_0;
  int size, stride, blurred_levels, sharper_levels;
  float level_unit;
};

struct PhaseOutput {
  float *phase, *by_slope_x, *by_slope_y, *profile_value, *profile_slope;
};

void predict_phases(const PhaseInput& in, const ProfileTables& tables, const PhaseOutput& out);

/// product[i] = a[i] b[i]
void multiply(const float* a, const float* b, std::size_t count, float* product);

/// The highlight's columns: u, v = slopes over `scale`, q = u^2 + v^2.
void highlight_columns(const float* slope_x, const float* slope_y, float scale, std::size_t count, float* u,
                       float* v, float* q);

/// residual = whitening / contrast (light - sum of coefficients times columns).
void residuals(const float* const* columns, const float* coefficients, int terms, const float* light,
               const float* whitening, float contrast, std::size_t count, float* residual);

/// Sum of pseudo-Huber costs.
double robust_cost(const float* residual, float scale, std::size_t count);

/// by_x, by_y = profile_slope (contrast0 + contrast_x xn + contrast_y yn) times the gains; by_phase without
/// them.
struct LightSlope {
  float contrast, contrast_x, contrast_y;
  const float *xn, *yn, *profile_slope, *by_slope_x, *by_slope_y;
};
void light_by_slopes(const LightSlope& in, std::size_t count, float* by_phase, float* by_x, float* by_y);

/// weight = importance x pseudo-Huber weight x w0^2 and scaled = residual / w0, with w0 = whitening /
/// contrast; returns the sum of weights.
double row_weights(const float* residual, const float* whitening, float contrast, float robust_scale,
                   float importance, std::size_t count, float* weight, float* scaled);

}  // namespace ripplegauge::kernel
