// The arithmetic of surface_fit over plain arrays; compiled like light_kernel.
#pragma once

#include <cstddef>

namespace ripplegauge::kernel {

/// The four basis functions along each direction that matter at each of `count` places of one cell:
/// along[d][k][i] is the d-th derivative of the k-th function at place i.
struct SplinePlaces {
  std::size_t count;
  const float *x[3][4], *y[3][4];
};

/// Height, slopes and second derivatives.
struct SplineRelief {
  float *z, *slope_x, *slope_y, *xx, *xy, *yy;
};

/// Adds the surface of these control heights (4 rows along y of 4 along x).
void add_surface(const SplinePlaces& places, const float controls[16], const SplineRelief& out);

/// rows[4 j + k][i]: what a control height moves, where a slope in x moves by_x[i] and one in y by_y[i].
void surface_rows(const SplinePlaces& places, const float* by_x, const float* by_y, float* const rows[16]);

}  // namespace ripplegauge::kernel
