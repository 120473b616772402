#include "stripe_kernel.hpp"

#include "ripplegauge/core/vectorised.hpp"

namespace ripplegauge::kernel {

RIPPLEGAUGE_VECTORISED
void sample(const PictureOfFloats& picture, float u0, float v0, float scale, const float* u, const float* v, std::size_t count, float* out) {
  const float* pixels = picture.pixels;
  const int pitch = picture.pitch, last_column = picture.columns - 2, last_row = picture.rows - 2;
  const float width = static_cast<float>(picture.columns - 1), height = static_cast<float>(picture.rows - 1);
#pragma omp simd
  for (std::size_t k = 0; k < count; ++k) {
    const float x = (u[k] - u0) * scale, y = (v[k] - v0) * scale;
    const bool inside = (x >= 0) & (y >= 0) & (x < width) & (y < height);
    // What lies outside, or nowhere, is read at some pixel and thrown away.
    int i = static_cast<int>(x), j = static_cast<int>(y);
    i = i < 0 ? 0 : i, j = j < 0 ? 0 : j;
    i = i > last_column ? last_column : i, j = j > last_row ? last_row : j;
    const float fx = x - static_cast<float>(i), fy = y - static_cast<float>(j);
    const int at = j * pitch + i;
    const float above = pixels[at] * (1 - fx) + pixels[at + 1] * fx;
    const float below = pixels[at + pitch] * (1 - fx) + pixels[at + pitch + 1] * fx;
    const float value = above * (1 - fy) + below * fy;
    out[k] = inside ? value : -1.0F;
  }
}

RIPPLEGAUGE_VECTORISED
void add_row(const float* light, const float* phase_cycles, std::size_t count, float* const* sums) {
  float *weight = sums[0], *all = sums[1], *square = sums[2], *weight_cos = sums[3], *weight_sin = sums[4], *light_cos = sums[5],
        *light_sin = sums[6];
#pragma omp simd
  for (std::size_t i = 0; i < count; ++i) {
    const float w = light[i] < 0 ? 0.0F : 1.0F, l = light[i] < 0 ? 0.0F : light[i];
    // Sine and cosine of half the angle, at most a quarter turn, by Taylor's series: right to 1e-6.
    const float p = phase_cycles[i];
    const float half = 3.14159265F * (p - static_cast<float>(static_cast<int>(p + (p < 0 ? -0.5F : 0.5F))));
    const float x = half * half;
    const float s = half * (1 + x * (-1.66666667e-1F + x * (8.33333333e-3F + x * (-1.98412698e-4F + x * (2.75573192e-6F - x * 2.50521084e-8F)))));
    const float c = 1 + x * (-0.5F + x * (4.16666667e-2F + x * (-1.38888889e-3F + x * (2.48015873e-5F + x * (-2.75573192e-7F + x * 2.0876757e-9F)))));
    const float cosine = 1 - 2 * s * s, sine = 2 * s * c;
    weight[i] += w, all[i] += l, square[i] += l * l;
    weight_cos[i] += w * cosine, weight_sin[i] += w * sine;
    light_cos[i] += l * cosine, light_sin[i] += l * sine;
  }
}

}  // namespace ripplegauge::kernel
