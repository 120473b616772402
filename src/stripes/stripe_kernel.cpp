// The inner loops of demodulation and of the local light, over rows of cells.
#include "stripe_kernel.hpp"

#include <cmath>

#include "core/vectorised.hpp"

namespace ripplegauge::kernel {

RIPPLEGAUGE_VECTORISED
void add_row(const float* light, const float* phase_cycles, std::size_t count, float* const* sums) {
  float *weight = sums[0], *all = sums[1], *square = sums[2], *weight_cos = sums[3], *weight_sin = sums[4],
        *light_cos = sums[5], *light_sin = sums[6];
#pragma omp simd
  for (std::size_t i = 0; i < count; ++i) {
    const float w = light[i] < 0 ? 0.0F : 1.0F, l = light[i] < 0 ? 0.0F : light[i];
    // Sine and cosine of half the angle, at most a quarter turn, by Taylor's series: right to 1e-6.
    constexpr float far = 1e9F;  // where the model's reflected ray runs along the board
    const float p = std::fmax(std::fmin(phase_cycles[i], far), -far);
    const float half = 3.14159265F * (p - static_cast<float>(static_cast<int>(p + (p < 0 ? -0.5F : 0.5F))));
    const float x = half * half;
    const float s =
        half *
        (1 + x * (-1.66666667e-1F +
                  x * (8.33333333e-3F + x * (-1.98412698e-4F + x * (2.75573192e-6F - x * 2.50521084e-8F)))));
    const float c =
        1 + x * (-0.5F + x * (4.16666667e-2F +
                              x * (-1.38888889e-3F +
                                   x * (2.48015873e-5F + x * (-2.75573192e-7F + x * 2.0876757e-9F)))));
    const float cosine = 1 - 2 * s * s, sine = 2 * s * c;
    weight[i] += w, all[i] += l, square[i] += l * l;
    weight_cos[i] += w * cosine, weight_sin[i] += w * sine;
    light_cos[i] += l * cosine, light_sin[i] += l * sine;
  }
}

RIPPLEGAUGE_VECTORISED
void add_products(const float* light, const float* profile, const float* weight, std::size_t count,
                  float* const* sums) {
  float *w = sums[0], *ws = sums[1], *wl = sums[2], *wss = sums[3], *wsl = sums[4];
#pragma omp simd
  for (std::size_t i = 0; i < count; ++i) {
    const float s = profile[i], l = light[i], seen = weight[i], both = seen * s;
    w[i] += seen, ws[i] += both, wl[i] += seen * l, wss[i] += both * s, wsl[i] += both * l;
  }
}

}  // namespace ripplegauge::kernel
