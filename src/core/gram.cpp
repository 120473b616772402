#include "ripplegauge/core/gram.hpp"

#include <algorithm>

#include "ripplegauge/core/vectorised.hpp"

namespace ripplegauge {

RIPPLEGAUGE_VECTORISED
void gram_of_columns(const float* const* columns, int count, int first_row, const float* weight, std::size_t elements,
                     double* gram) {
  constexpr std::size_t chunk = 256;
  float weighted[chunk];
  for (int a = first_row; a < count; ++a) std::fill_n(gram + a * count, a + 1, 0.0);
  for (std::size_t from = 0; from < elements; from += chunk) {
    const int n = static_cast<int>(std::min(chunk, elements - from));
    for (int a = first_row; a < count; ++a) {
      const float* column = columns[a] + from;
      if (weight != nullptr) {
        const float* w = weight + from;
        for (int i = 0; i < n; ++i) weighted[i] = w[i] * column[i];
        column = weighted;
      }
      double* row = gram + a * count;
      int b = 0;
      for (; b + 3 <= a; b += 4) {  // four sums at once: each element of column a is loaded once for them
        const float *c0 = columns[b] + from, *c1 = columns[b + 1] + from, *c2 = columns[b + 2] + from, *c3 = columns[b + 3] + from;
        float s0 = 0, s1 = 0, s2 = 0, s3 = 0;
#pragma omp simd reduction(+ : s0, s1, s2, s3)
        for (int i = 0; i < n; ++i) {
          s0 += column[i] * c0[i];
          s1 += column[i] * c1[i];
          s2 += column[i] * c2[i];
          s3 += column[i] * c3[i];
        }
        row[b] += s0, row[b + 1] += s1, row[b + 2] += s2, row[b + 3] += s3;
      }
      for (; b <= a; ++b) {
        const float* other = columns[b] + from;
        float s = 0;
#pragma omp simd reduction(+ : s)
        for (int i = 0; i < n; ++i) s += column[i] * other[i];
        row[b] += s;
      }
    }
  }
}

}  // namespace ripplegauge
