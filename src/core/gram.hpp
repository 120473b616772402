// Sums of products of columns: what normal equations are made of.
#pragma once

#include <cstddef>

namespace ripplegauge {

/// gram(a, b) = sum over i of weight[i] columns[a][i] columns[b][i] for first_row <= a < count and b <= a;
/// the rest of `gram` (count x count, row after row) is left as it is. No weight: all 1; none below 0. Sums
/// of 256 elements are in single precision, what is added up of them in double.
void gram_of_columns(const float* const* columns, int count, int first_row, const float* weight,
                     std::size_t elements, double* gram);

}  // namespace ripplegauge
