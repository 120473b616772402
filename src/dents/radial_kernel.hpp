// The arithmetic of RadialSearch over plain arrays, apart from everything else: its source is compiled with the
// compiler's freest floating-point rules (no NaN, no infinities), so that it becomes vector code.
#pragma once

#include <cstddef>

namespace ripplegauge::kernel {

/// A round spot of height 1, tabulated over its radius: entry i stands for the radius i / scale; `size` entries, one more
/// behind them. Slopes are those of a radius of 1 mm.
struct UnitTables {
  const float *height, *slope;
  int size;
  float inverse_radius, scale;
};

/// slope = dz/dradius of the unit spot and bend = its derivative, where a spot of `height` is hit.
void unit_slopes(const UnitTables& unit, const float* radius, const float* parallax, float height, std::size_t count,
                 float* slope, float* bend);

/// Names as in RadialSearch's pixels; the profile's tables as in StripeProfile.
struct RadialPixels {
  std::size_t count;
  const float *phase, *gain, *gain2, *phase_x, *phase_y, *radial_x, *radial_y, *across_x, *across_y, *learnt_blur;
  float blur_xx, blur_xy, blur_yy;
  const float* level_0;
  int table_size, table_stride, blurred_levels;
  float level_unit;
};

/// The stripes' brightness at every pixel under a spot of `height`, the blur of crowded stripes included, by the nearest
/// entry of the profile's tables.
void radial_profile(const RadialPixels& pixels, float height, const float* slope, const float* bend, float* profile);

/// products[k] = sum of profile times columns[k], for 7 columns; products[7] = sum of its squares.
void profile_products(const float* profile, const float* const columns[7], std::size_t count, double products[8]);

/// Sum of pseudo-Huber costs of weight (light - contrast profile + sum of level[t] basis[t]), from `least` upwards.
double radial_cost(const float* profile, float contrast, const float* const basis[6], const float level[6], const float* light,
                   const float* weight, const float* least, float scale, std::size_t count);

}  // namespace ripplegauge::kernel
