// Samples of pictures and tables over plain arrays, apart from everything else: its source is compiled once
// more for processors with wider arithmetic. Products and sums are rounded one by one everywhere, so that all
// processors see the same light.
#pragma once

namespace ripplegauge::kernel {

/// Rows of floats, `pitch` apart.
struct Raster {
  const float* pixels;
  int pitch, columns, rows;
};

/// Raster coordinates are (u - u0, v - v0) times `scale`.
struct RasterPlace {
  float u0, v0, scale;
};

/// Bilinear samples at `count` places; -1 outside.
void sample(const Raster& raster, const RasterPlace& place, const float* u, const float* v, int count,
            float* out);

/// Values at `count` phases of what is tabulated over one period in `size` steps, a power of two, the first
/// entry standing again at the end; linear between.
void look_up(const float* table, int size, const float* cycles, int count, float* out);

}  // namespace ripplegauge::kernel
