// The arithmetic of ReducedLight and block_means over plain arrays, apart from everything else: its source is compiled with the compiler's
// freest floating-point rules (no NaN, no infinities), so that it becomes vector code.
#pragma once

#include <cstddef>

namespace ripplegauge::kernel {

/// A picture at least two pixels wide and high; rows are `pitch` values apart.
struct PictureOfFloats {
  const float* pixels;
  int columns, rows, pitch;
};

/// Bilinear samples at ((u - u0) scale, (v - v0) scale); -1 outside.
void sample(const PictureOfFloats& picture, float u0, float v0, float scale, const float* u, const float* v, std::size_t count, float* out);

/// Adds a row of `count` cells to `sums`, of as many entries each, in the order of BlockMean.
void add_row(const float* light, const float* phase_cycles, std::size_t count, float* const* sums);

}  // namespace ripplegauge::kernel
