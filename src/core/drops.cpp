// Drops by their size, their roundness and their number.
#include "core/drops.hpp"

#include <algorithm>

namespace ripplegauge {

bool look_like_drops(std::span<const Dent> dents) {
  constexpr double largest_mm = 6, longest_over_widest = 1.5;
  constexpr std::ptrdiff_t several = 3;  // a few drops among many show as spots
  const auto like_a_drop = [](const Dent& dent) {
    return dent.diameter_mm.value < largest_mm &&
           dent.length_mm.value < longest_over_widest * dent.width_mm.value;
  };
  const auto count = std::count_if(dents.begin(), dents.end(), like_a_drop);
  return count >= several && 2 * count > static_cast<std::ptrdiff_t>(dents.size());
}

}  // namespace ripplegauge
