// The inner loops of the free surface, over arrays of pixels.
#include "spline_kernel.hpp"

#include "core/vectorised.hpp"

namespace ripplegauge::kernel {

RIPPLEGAUGE_VECTORISED
void add_surface(const SplinePlaces& places, const float controls[16], const SplineRelief& out) {
  const SplinePlaces p = places;  // copies: nothing that is written can be them
  const SplineRelief o = out;
  for (int j = 0; j < 4; ++j) {
    const float c0 = controls[4 * j], c1 = controls[4 * j + 1], c2 = controls[4 * j + 2],
                c3 = controls[4 * j + 3];
    const float *y0 = p.y[0][j], *y1 = p.y[1][j], *y2 = p.y[2][j];
#pragma omp simd
    for (std::size_t i = 0; i < p.count; ++i) {
      const float value = c0 * p.x[0][0][i] + c1 * p.x[0][1][i] + c2 * p.x[0][2][i] + c3 * p.x[0][3][i];
      const float first = c0 * p.x[1][0][i] + c1 * p.x[1][1][i] + c2 * p.x[1][2][i] + c3 * p.x[1][3][i];
      const float second = c0 * p.x[2][0][i] + c1 * p.x[2][1][i] + c2 * p.x[2][2][i] + c3 * p.x[2][3][i];
      o.z[i] += value * y0[i];
      o.slope_x[i] += first * y0[i], o.slope_y[i] += value * y1[i];
      o.xx[i] += second * y0[i], o.xy[i] += first * y1[i], o.yy[i] += value * y2[i];
    }
  }
}

RIPPLEGAUGE_VECTORISED
void surface_rows(const SplinePlaces& places, const float* by_x, const float* by_y, float* const rows[16]) {
  const SplinePlaces p = places;
  for (int j = 0; j < 4; ++j)
    for (int k = 0; k < 4; ++k) {
      const float *x0 = p.x[0][k], *x1 = p.x[1][k], *y0 = p.y[0][j], *y1 = p.y[1][j];
      float* row = rows[4 * j + k];
#pragma omp simd
      for (std::size_t i = 0; i < p.count; ++i) row[i] = by_x[i] * x1[i] * y0[i] + by_y[i] * x0[i] * y1[i];
    }
}

}  // namespace ripplegauge::kernel
