// The arithmetic of block_means and local_light over plain arrays, apart from everything else: its source is
// compiled with the compiler's freest floating-point rules (no NaN, no infinities), so that it becomes vector
// code.
#pragma once

#include <cstddef>

namespace ripplegauge::kernel {

/// Adds a row of `count` cells to `sums`, of as many entries each, in the order of BlockMean.
void add_row(const float* light, const float* phase_cycles, std::size_t count, float* const* sums);

/// Adds a row of cells' products w, w s, w l, w s s and w s l, of weight w, profile s and light l, to `sums`.
void add_products(const float* light, const float* profile, const float* weight, std::size_t count,
                  float* const* sums);

}  // namespace ripplegauge::kernel
