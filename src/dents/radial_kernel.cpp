// The inner loops of the radial search, over arrays of pixels: what thousands of starts cost.
#include "radial_kernel.hpp"

#include <cmath>

#include "core/vectorised.hpp"

namespace ripplegauge::kernel {

RIPPLEGAUGE_VECTORISED
void look_up(const UnitTables& unit, const float* radius, std::size_t count, const UnitAtPixels& output) {
  const UnitTables t = unit;
  const UnitAtPixels out = output;
  const float last = static_cast<float>(t.size);
#pragma omp simd
  for (std::size_t i = 0; i < count; ++i) {
    const float at = std::fmin(radius[i] * t.scale, last);
    const int k = static_cast<int>(at);
    const float here = t.slope[k] * t.inverse_radius, step = t.slope[k + 1] * t.inverse_radius - here;
    out.height[i] = t.height[k];
    out.slope[i] = here + (at - static_cast<float>(k)) * step;
    out.bend[i] = step * t.scale;
  }
}

RIPPLEGAUGE_VECTORISED
void radial_profile(const RadialPixels& pixels, const UnitAtPixels& at_pixels, float height, float* profile) {
  const RadialPixels p = pixels;
  const UnitAtPixels unit = at_pixels;
  const float inverse_unit = 1 / p.level_unit, most = static_cast<float>(p.blurred_levels),
              size = static_cast<float>(p.table_size);
  const int mask = p.table_size - 1;
#pragma omp simd
  for (std::size_t i = 0; i < p.count; ++i) {
    const float bend = height * unit.bend[i];
    const float z = height * (unit.slope[i] + bend * unit.height[i] * p.parallax[i]), b = bend * p.gain[i];
    const float gx = p.phase_x[i] + b * p.radial_x[i] + z * p.across_x[i];
    const float gy = p.phase_y[i] + b * p.radial_y[i] + z * p.across_y[i];
    const float blur = p.blur_xx * gx * gx + 2 * p.blur_xy * gx * gy + p.blur_yy * gy * gy - p.learnt_blur;
    const int level =
        static_cast<int>(std::fmin(std::sqrt(std::fmax(blur * inverse_unit, 0.0F)) + 0.5F, most));
    const float phase = p.phase[i] + z * (p.gain[i] + z * p.gain2[i]);
    const int at = static_cast<int>((phase - std::floor(phase)) * size + 0.5F) &
                   mask;  // NOLINT(bugprone-incorrect-roundings): not negative
    profile[i] = p.level_0[2 * (level * p.table_stride + at)];
  }
}

RIPPLEGAUGE_VECTORISED
void profile_products(const float* profile, const float* const columns[7], std::size_t count,
                      double products[8]) {
  constexpr std::size_t chunk = 256;
  for (int k = 0; k < 8; ++k) products[k] = 0;
  for (std::size_t from = 0; from < count; from += chunk) {
    const int n = static_cast<int>(count - from < chunk ? count - from : chunk);
    const float* p = profile + from;
    const float *c0 = columns[0] + from, *c1 = columns[1] + from, *c2 = columns[2] + from,
                *c3 = columns[3] + from, *c4 = columns[4] + from, *c5 = columns[5] + from,
                *c6 = columns[6] + from;
    float s0 = 0, s1 = 0, s2 = 0, s3 = 0, s4 = 0, s5 = 0, s6 = 0, s7 = 0;
#pragma omp simd reduction(+ : s0, s1, s2, s3, s4, s5, s6, s7)
    for (int i = 0; i < n; ++i) {
      s0 += p[i] * c0[i], s1 += p[i] * c1[i], s2 += p[i] * c2[i], s3 += p[i] * c3[i];
      s4 += p[i] * c4[i], s5 += p[i] * c5[i], s6 += p[i] * c6[i], s7 += p[i] * p[i];
    }
    const float sums[8] = {s0, s1, s2, s3, s4, s5, s6, s7};
    for (int k = 0; k < 8; ++k) products[k] += sums[k];
  }
}

RIPPLEGAUGE_VECTORISED
double radial_cost(const float* profile, float contrast, const float* const basis[6], const float level[6],
                   const float* light, const float* weight, const float* least, float scale,
                   std::size_t count) {
  const float *b0 = basis[0], *b1 = basis[1], *b2 = basis[2], *b3 = basis[3], *b4 = basis[4], *b5 = basis[5];
  const float l0 = level[0], l1 = level[1], l2 = level[2], l3 = level[3], l4 = level[4], l5 = level[5];
  const float inverse = 1 / (scale * scale);
  float sum = 0;
#pragma omp simd reduction(+ : sum)
  for (std::size_t i = 0; i < count; ++i) {
    const float rest = light[i] - contrast * profile[i] + l0 * b0[i] + l1 * b1[i] + l2 * b2[i] + l3 * b3[i] +
                       l4 * b4[i] + l5 * b5[i];
    const float r = std::fmax(rest * weight[i], least[i]), square = r * r * inverse;
    sum += std::sqrt(1 + square) - 1;
  }
  return static_cast<double>(sum) * scale * scale;
}

}  // namespace ripplegauge::kernel
