// The arithmetic of block_means over plain arrays, apart from everything else: its source is compiled with the compiler's
// freest floating-point rules (no NaN, no infinities), so that it becomes vector code.
#pragma once

#include <cstddef>

namespace ripplegauge::kernel {

/// Adds a row of `count` cells to `sums`, of as many entries each, in the order of BlockMean.
void add_row(const float* light, const float* phase_cycles, std::size_t count, float* const* sums);

}  // namespace ripplegauge::kernel
