// The arithmetic of SpotShape over plain arrays, apart from everything else: its source is compiled with the
// compiler's freest floating-point rules (no NaN, no infinities), so that it becomes vector code.
#pragma once

#include <cstddef>

namespace ripplegauge::kernel {

/// A spot made ready for evaluation; members as in SpotShape.
struct Spot {
  float x, y, inverse_a, inverse_b, cos, sin, height, power, order, rim;
  float log_rim_by_log_order;  ///< d ln(rim) / d ln(order)
  float slant_u, slant_v;
};

/// Panel points.
struct Places {
  std::size_t count;
  const float *x, *y;
};

struct ReliefArrays {
  float *z, *slope_x, *slope_y, *xx, *xy, *yy;
};

/// z += the spot's height.
void add_heights(const Spot& spot, const Places& places, float* z);

/// Height, slopes and second derivatives of the spot are added to what is there.
void add_relief(const Spot& spot, const Places& places, const ReliefArrays& out);

/// rows[s][i] = by_x[i] d slope_x / d s + by_y[i] d slope_y / d s for the ten parameters s in the order of
/// SpotParameter; log_a, log_b, log_p and log_n are logarithms.
void spot_rows(const Spot& spot, const Places& places, const float* by_x, const float* by_y,
               float* const rows[10]);

/// A soft ellipse: how far inside it a place lies, from 0 to 1, is a logistic function of `softness` (1 -
/// rho).
struct SoftEllipse {
  float x, y, inverse_a, inverse_b, cos, sin, softness;
};
struct SplitSums {
  double inside = 0, inside_squared = 0, inside_value = 0;  ///< sums of inside, inside^2, inside x value
};
SplitSums split_sums(const SoftEllipse& ellipse, const float* x, const float* y, const float* value,
                     std::size_t count);

}  // namespace ripplegauge::kernel
