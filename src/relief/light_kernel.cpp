// The inner loops of fitting light: phases, stripes and residuals over arrays of pixels.
#include "light_kernel.hpp"

#include <cmath>

#include "core/vectorised.hpp"

namespace ripplegauge::kernel {

RIPPLEGAUGE_VECTORISED
void predict_phases(const PhaseInput& input, const ProfileTables& tables, const PhaseOutput& output) {
  const PhaseInput in = input;  // copies: nothing that is written can be them
  const PhaseOutput out = output;
  const ProfileTables t = tables;
  const float nx = in.normal[0], ny = in.normal[1], nz = in.normal[2], ax = in.across[0], ay = in.across[1],
              az = in.across[2];
  const float most_blurred = static_cast<float>(t.blurred_levels * t.blurred_levels) * t.level_unit;
  const float most_sharpened = static_cast<float>(t.sharper_levels * t.sharper_levels) * t.level_unit;
  const float inverse_unit = 1 / t.level_unit;
  const float size = static_cast<float>(t.size), entry = 1 / size;
  const int mask = t.size - 1;
#pragma omp simd
  for (std::size_t i = in.from; i < in.to; ++i) {
    // The law of reflection, as in MirrorBoard::phase.
    const float rx = in.ray_x[i], ry = in.ray_y[i];
    const float gx = in.panel_slope_x[i] + in.slope_x[i], gy = in.panel_slope_y[i] + in.slope_y[i];
    const float shift = in.z[i] * in.inverse_ray_z[i];
    const float inverse_q = 1 / (1 + gx * gx + gy * gy);
    const float s = 2 * (in.ray_z[i] - rx * gx - ry * gy) * inverse_q;
    const float n = gx * nx + gy * ny - nz, e = gx * ax + gy * ay - az;
    const float rn = in.ray_normal[i] + s * n, ra = in.ray_across[i] + s * e;
    const float inverse_rn = 1 / rn, w = ra * inverse_rn;
    const float along = -(in.from_normal[i] + shift * in.ray_normal[i]) * inverse_rn;
    const float sx = 2 * (-rx - s * gx) * inverse_q, sy = 2 * (-ry - s * gy) * inverse_q;
    const float gain = along * in.inverse_pitch;
    const float bx = gain * (sx * e + s * ax - w * (sx * n + s * nx)),
                by = gain * (sy * e + s * ay - w * (sy * n + s * ny));
    const float phase = (in.from_across[i] + shift * in.ray_across[i] + along * ra) * in.inverse_pitch +
                        in.drift[0] + in.drift[1] * in.x[i] + in.drift[2] * in.y[i];
    // Crowded stripes lose contrast to the photo's blur.
    const float px = in.phase_x[i] + bx * in.xx[i] + by * in.xy[i],
                py = in.phase_y[i] + bx * in.xy[i] + by * in.yy[i];
    const float blur =
        in.blur_xx * px * px + 2 * in.blur_xy * px * py + in.blur_yy * py * py - in.learnt_blur;
    // The profile, as in StripeProfile::at.
    const bool blurred = blur > 0;
    const float most = blurred ? most_blurred : most_sharpened;
    const int last = (blurred ? t.blurred_levels : t.sharper_levels) - 1;
    const float magnitude = std::fmin(std::fabs(blur), most);
    const int root = static_cast<int>(std::sqrt(magnitude * inverse_unit));
    const int below = root < last ? root : last;
    const float between =
        (magnitude * inverse_unit - static_cast<float>(below * below)) / static_cast<float>(2 * below + 1);
    const int sign = blurred ? 1 : -1;
    // The derivative runs straight from an entry to the next; the value follows it, so that both agree.
    const float turn = (phase - std::floor(phase)) * size;
    const int whole = static_cast<int>(turn);
    const float part = turn - static_cast<float>(whole);
    const int a = 2 * (sign * below * t.stride + (whole & mask)), b = a + 2 * sign * t.stride;
    const float* p = t.level_0;
    const float rise_a = part * (p[a + 3] - p[a + 1]), rise_b = part * (p[b + 3] - p[b + 1]);
    const float value_a = p[a] + part * entry * (p[a + 1] + 0.5F * rise_a),
                value_b = p[b] + part * entry * (p[b + 1] + 0.5F * rise_b);
    const float slope_a = p[a + 1] + rise_a, slope_b = p[b + 1] + rise_b;
    out.phase[i] = phase;
    out.by_slope_x[i] = bx;
    out.by_slope_y[i] = by;
    out.profile_value[i] = value_a + between * (value_b - value_a);
    out.profile_slope[i] = slope_a + between * (slope_b - slope_a);
  }
}

RIPPLEGAUGE_VECTORISED
void multiply(const float* a, const float* b, std::size_t count, float* product) {
#pragma omp simd
  for (std::size_t i = 0; i < count; ++i) product[i] = a[i] * b[i];
}

RIPPLEGAUGE_VECTORISED
void highlight_columns(const float* slope_x, const float* slope_y, float scale, std::size_t count, float* u,
                       float* v, float* q) {
  const float inverse = 1 / scale;
#pragma omp simd
  for (std::size_t i = 0; i < count; ++i) {
    u[i] = slope_x[i] * inverse, v[i] = slope_y[i] * inverse;
    q[i] = u[i] * u[i] + v[i] * v[i];
  }
}

RIPPLEGAUGE_VECTORISED
void residuals(const float* const* columns, const float* coefficients, int terms, const float* light,
               const float* whitening, float contrast, std::size_t count, float* residual) {
  const float inverse = 1 / contrast;
#pragma omp simd
  for (std::size_t i = 0; i < count; ++i) residual[i] = light[i] - coefficients[0] * columns[0][i];
  for (int t = 1; t < terms; ++t) {
    const float c = coefficients[t];
    const float* column = columns[t];
#pragma omp simd
    for (std::size_t i = 0; i < count; ++i) residual[i] -= c * column[i];
  }
#pragma omp simd
  for (std::size_t i = 0; i < count; ++i) residual[i] *= whitening[i] * inverse;
}

RIPPLEGAUGE_VECTORISED
double robust_cost(const float* residual, float scale, std::size_t count) {
  constexpr std::size_t chunk = 256;
  const float inverse = 1 / (scale * scale);
  double sum = 0;
  for (std::size_t from = 0; from < count; from += chunk) {
    const std::size_t n = count - from < chunk ? count - from : chunk;
    const float* r = residual + from;
    float part = 0;
#pragma omp simd reduction(+ : part)
    for (std::size_t i = 0; i < n; ++i) {
      const float square = r[i] * r[i] * inverse;
      part += square / (std::sqrt(1 + square) + 1);  // sqrt(1 + square) - 1, without losing small ones
    }
    sum += part;
  }
  return sum * scale * scale;
}

RIPPLEGAUGE_VECTORISED
void light_by_slopes(const LightSlope& input, std::size_t count, float* by_phase, float* by_x, float* by_y) {
  const LightSlope in = input;
#pragma omp simd
  for (std::size_t i = 0; i < count; ++i) {
    const float light =
        in.profile_slope[i] * (in.contrast + in.contrast_x * in.xn[i] + in.contrast_y * in.yn[i]);
    by_phase[i] = light;
    by_x[i] = light * in.by_slope_x[i], by_y[i] = light * in.by_slope_y[i];
  }
}

RIPPLEGAUGE_VECTORISED
double row_weights(const float* residual, const float* whitening, float contrast, float robust_scale,
                   float importance, std::size_t count, float* weight, float* scaled) {
  const float inverse_contrast = 1 / contrast, inverse_square = 1 / (robust_scale * robust_scale);
  double sum = 0;
  constexpr std::size_t chunk = 256;
  for (std::size_t from = 0; from < count; from += chunk) {
    const std::size_t to = count - from < chunk ? count : from + chunk;
    float part = 0;
#pragma omp simd reduction(+ : part)
    for (std::size_t i = from; i < to; ++i) {
      const float w0 = whitening[i] * inverse_contrast, r = residual[i];
      const float w = importance * w0 * w0 / std::sqrt(1 + r * r * inverse_square);
      weight[i] = w;
      scaled[i] = r / w0;
      part += w;
    }
    sum += part;
  }
  return sum;
}

}  // namespace ripplegauge::kernel
