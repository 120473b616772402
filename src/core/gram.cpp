// Sums of products in tiles of four columns by three, so that they stay in registers. A kernel: compiled with
// free floating-point rules.
#include "core/gram.hpp"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <vector>

#include "core/vectorised.hpp"

namespace ripplegauge {

namespace {

// Columns are taken in chunks that stay in the first cache, times the root of the weights, so that one copy
// serves as both factors. Sums of a tile of products stay in registers for a whole chunk: each element is
// loaded for several of them.
constexpr int lanes = 8, chunk = 256, tile_rows = 4, tile_columns = 3;
using Lanes [[gnu::vector_size(lanes * sizeof(float)), gnu::aligned(alignof(float)), gnu::may_alias]] = float;

int rounded_up(int n, int to) { return (n + to - 1) / to * to; }

[[gnu::always_inline]] inline double sum_of(const Lanes& v) {
  return (v[0] + v[4]) + (v[1] + v[5]) + ((v[2] + v[6]) + (v[3] + v[7]));
}

/// Adds the products of four columns with three, over `n` elements, to `sums`, a column of the tile after the
/// other.
[[gnu::always_inline]] inline void add_tile(const float* a, const float* b, int n, double* sums) {
  Lanes s[tile_columns][tile_rows] = {};
  for (int i = 0; i < n; i += lanes)
    for (int c = 0; c < tile_columns; ++c)
      for (int r = 0; r < tile_rows; ++r)
        s[c][r] += *reinterpret_cast<const Lanes*>(a + r * chunk + i) *
                   *reinterpret_cast<const Lanes*>(b + c * chunk + i);
  for (int c = 0; c < tile_columns; ++c)
    for (int r = 0; r < tile_rows; ++r) sums[c * tile_rows + r] += sum_of(s[c][r]);
}

}  // namespace

RIPPLEGAUGE_VECTORISED
void gram_of_columns(const float* const* columns, int count, int first_row, const float* weight,
                     std::size_t elements, double* gram) {
  const int last_tile_row = first_row + rounded_up(count - first_row, tile_rows);
  const int padded = rounded_up(last_tile_row, tile_columns);
  std::vector<float> packed(static_cast<std::size_t>(padded * chunk));
  const auto columns_of_tiles = [](int row) { return rounded_up(row + tile_rows, tile_columns); };
  std::vector<double> sums;
  for (int a = first_row; a < last_tile_row; a += tile_rows)
    sums.resize(sums.size() + static_cast<std::size_t>(tile_rows * columns_of_tiles(a)));
  for (std::size_t from = 0; from < elements; from += chunk) {
    const int n = static_cast<int>(std::min<std::size_t>(chunk, elements - from));
    float root[chunk];
    if (weight != nullptr)
      for (int i = 0; i < n; ++i) root[i] = std::sqrt(weight[from + static_cast<std::size_t>(i)]);
    for (int a = 0; a < count; ++a) {
      const float* column = columns[a] + from;
      float* scaled = packed.data() + a * chunk;
      if (weight == nullptr)
        std::copy_n(column, n, scaled);
      else
        for (int i = 0; i < n; ++i) scaled[i] = root[i] * column[i];
      std::fill(scaled + n, scaled + rounded_up(n, lanes), 0.0F);
    }
    double* tile = sums.data();
    for (int a = first_row; a < last_tile_row; a += tile_rows)
      for (int b = 0; b < columns_of_tiles(a); b += tile_columns, tile += tile_rows * tile_columns)
        add_tile(packed.data() + a * chunk, packed.data() + b * chunk, rounded_up(n, lanes), tile);
  }
  const double* block = sums.data();
  for (int a = first_row; a < last_tile_row; a += tile_rows) {
    for (int r = 0; r < tile_rows && a + r < count; ++r)
      for (int b = 0; b <= a + r; ++b) gram[(a + r) * count + b] = block[b * tile_rows + r];
    block += tile_rows * columns_of_tiles(a);
  }
}

}  // namespace ripplegauge
