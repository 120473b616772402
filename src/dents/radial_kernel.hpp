// The arithmetic of RadialSearch over plain arrays, apart from everything else: its source is compiled with
// the compiler's freest floating-point rules (no NaN, no infinities), so that it becomes vector code.
#pragma once

#include <cstddef>

namespace ripplegauge::kernel {

/// A round spot of height 1, tabulated over its radius: entry i stands for the radius i / scale; `size`
/// entries, one more behind them. Slopes are those of a radius of 1 mm.
struct UnitTables {
  const float *height, *slope;
  int size;
  float inverse_radius, scale;
};

/// Height of the unit spot, its derivative by the radius and the derivative of that, at every radius.
struct UnitAtPixels {
  float *height, *slope, *bend;
};
void look_up(const UnitTables& unit, const float* radius, std::size_t count, const UnitAtPixels& out);

/// Names as in RadialSearch's pixels; the profile's tables as in StripeProfile.
struct RadialPixels {
  std::size_t count;
  const float *parallax, *phase, *gain, *gain2, *phase_x, *phase_y, *radial_x, *radial_y, *across_x,
      *across_y;
  float blur_xx, blur_xy, blur_yy, learnt_blur;
  const float* level_0;
  int table_size, table_stride, blurred_levels;
  float level_unit;
};

/// The stripes' brightness at every pixel under a unit spot grown to `height`, the blur of crowded stripes
/// included, by the nearest entry of the profile's tables. A spot of some height is hit a little off where
/// the smooth panel would be (the ray goes on, or stops short): to first order.
void radial_profile(const RadialPixels& pixels, const UnitAtPixels& unit, float height, float* profile);

/// products[k] = sum of profile times columns[k], for 7 columns; products[7] = sum of its squares.
void profile_products(const float* profile, const float* const columns[7], std::size_t count,
                      double products[8]);

/// Sum of pseudo-Huber costs of weight (light - contrast profile + sum of level[t] basis[t]), from `least`
/// upwards.
double radial_cost(const float* profile, float contrast, const float* const basis[6], const float level[6],
                   const float* light, const float* weight, const float* least, float scale,
                   std::size_t count);

}  // namespace ripplegauge::kernel
