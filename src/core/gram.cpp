#include "ripplegauge/core/gram.hpp"

#include <algorithm>

#include "ripplegauge/core/vectorised.hpp"

namespace ripplegauge {

namespace {

constexpr std::size_t chunk = 512;

/// Adds the products of two columns with four: each element is loaded once for as many sums as the registers hold.
[[gnu::always_inline]] inline void two_by_four(const float* a0, const float* a1, const float* const* b, std::size_t from, int n, double* row0,
                                               double* row1) {
  const float *c0 = b[0] + from, *c1 = b[1] + from, *c2 = b[2] + from, *c3 = b[3] + from;
  float s0 = 0, s1 = 0, s2 = 0, s3 = 0, t0 = 0, t1 = 0, t2 = 0, t3 = 0;
#pragma omp simd reduction(+ : s0, s1, s2, s3, t0, t1, t2, t3)
  for (int i = 0; i < n; ++i) {
    s0 += a0[i] * c0[i], s1 += a0[i] * c1[i], s2 += a0[i] * c2[i], s3 += a0[i] * c3[i];
    t0 += a1[i] * c0[i], t1 += a1[i] * c1[i], t2 += a1[i] * c2[i], t3 += a1[i] * c3[i];
  }
  row0[0] += s0, row0[1] += s1, row0[2] += s2, row0[3] += s3;
  row1[0] += t0, row1[1] += t1, row1[2] += t2, row1[3] += t3;
}

[[gnu::always_inline]] inline float one_by_one(const float* a, const float* b, int n) {
  float s = 0;
#pragma omp simd reduction(+ : s)
  for (int i = 0; i < n; ++i) s += a[i] * b[i];
  return s;
}

[[gnu::always_inline]] inline const float* weigh(const float* column, const float* weight, int n, float* weighted) {
  if (weight == nullptr) return column;
  for (int i = 0; i < n; ++i) weighted[i] = weight[i] * column[i];
  return weighted;
}

}  // namespace

RIPPLEGAUGE_VECTORISED
void gram_of_columns(const float* const* columns, int count, int first_row, const float* weight, std::size_t elements,
                     double* gram) {
  float weighted_0[chunk], weighted_1[chunk];
  for (int a = first_row; a < count; ++a) std::fill_n(gram + a * count, a + 1, 0.0);
  for (std::size_t from = 0; from < elements; from += chunk) {
    const int n = static_cast<int>(std::min(chunk, elements - from));
    const float* w = weight == nullptr ? nullptr : weight + from;
    for (int a = first_row; a < count; a += 2) {
      const bool pair = a + 1 < count;
      const float* a0 = weigh(columns[a] + from, w, n, weighted_0);
      const float* a1 = pair ? weigh(columns[a + 1] + from, w, n, weighted_1) : a0;
      double *row0 = gram + a * count, *row1 = pair ? row0 + count : nullptr;
      int b = 0;
      for (; pair && b + 3 <= a; b += 4) two_by_four(a0, a1, columns + b, from, n, row0 + b, row1 + b);
      for (; b <= a; ++b) {
        row0[b] += one_by_one(a0, columns[b] + from, n);
        if (pair) row1[b] += one_by_one(a1, columns[b] + from, n);
      }
      if (pair) row1[a + 1] += one_by_one(a1, columns[a + 1] + from, n);
    }
  }
}

}  // namespace ripplegauge
