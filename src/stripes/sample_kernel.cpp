// Samples of pictures and tables over arrays; every processor rounds alike here.
#include "sample_kernel.hpp"

#include "core/vectorised.hpp"

namespace ripplegauge::kernel {

RIPPLEGAUGE_VECTORISED
void sample(const Raster& raster, const RasterPlace& place, const float* u, const float* v, int count,
            float* out) {
  const float u0 = place.u0, v0 = place.v0, scale = place.scale;
  const auto last_x = static_cast<float>(raster.columns - 1), last_y = static_cast<float>(raster.rows - 1);
  const float* pixels = raster.pixels;
  const int pitch = raster.pitch;
#pragma omp simd
  for (int k = 0; k < count; ++k) {
    const float x = (u[k] - u0) * scale, y = (v[k] - v0) * scale;
    float inner_x = x >= 0 ? x : 0.0F, inner_y = y >= 0 ? y : 0.0F;
    inner_x = inner_x < last_x ? inner_x : 0.0F, inner_y = inner_y < last_y ? inner_y : 0.0F;
    const int i = static_cast<int>(inner_x), j = static_cast<int>(inner_y);
    const float fx = inner_x - static_cast<float>(i), fy = inner_y - static_cast<float>(j);
    const int a = j * pitch + i, b = a + pitch;
    const float top = pixels[a] * (1 - fx) + pixels[a + 1] * fx,
                bottom = pixels[b] * (1 - fx) + pixels[b + 1] * fx;
    const float seen_x = x == inner_x ? 1.0F : 0.0F, seen_y = y == inner_y ? 1.0F : 0.0F,
                seen = seen_x * seen_y;
    out[k] = (top * (1 - fy) + bottom * fy) * seen - (1 - seen);
  }
}

RIPPLEGAUGE_VECTORISED
void look_up(const float* table, int size, const float* cycles, int count, float* out) {
#pragma omp simd
  for (int k = 0; k < count; ++k) {
    constexpr float far = 1e9F;  // where the model's reflected ray runs along the board
    const float low = cycles[k] > -far ? cycles[k] : -far, p = low < far ? low : far;
    const double signed_part = static_cast<double>(p) - static_cast<int>(p);
    const double steps = (signed_part < 0 ? signed_part + 1 : signed_part) * size;
    const int whole = static_cast<int>(steps), i = whole & (size - 1);
    const auto f = static_cast<float>(steps - whole);
    out[k] = table[i] + f * (table[i + 1] - table[i]);
  }
}

}  // namespace ripplegauge::kernel
