#include "memory.hpp"

#include <cstdint>
#include <cstdlib>
#include <limits>

#ifdef __GLIBC__
#include <malloc.h>
#include <sys/mman.h>
#include <unistd.h>
#endif

namespace ripplegauge::cli {

void expect_large_pictures() {
#ifdef __GLIBC__
  constexpr int largest_picture = 32 << 20, heap = 96 << 20;  // bytes: the first is the most that mallopt takes, the second what 12 MP need
  mallopt(M_MMAP_THRESHOLD, largest_picture);
  mallopt(M_TRIM_THRESHOLD, std::numeric_limits<int>::max());
  mallopt(M_TOP_PAD, heap);
  constexpr std::size_t more_than_is_free = 4 << 20;  // by now: the heap grows
  void* const block = std::malloc(more_than_is_free);
  constexpr std::uintptr_t page = 2 << 20;
  const std::uintptr_t from = (reinterpret_cast<std::uintptr_t>(block) + page - 1) / page * page;
  const std::uintptr_t to = reinterpret_cast<std::uintptr_t>(sbrk(0)) / page * page;
  if (block != nullptr && from < to) madvise(reinterpret_cast<void*>(from), to - from, MADV_HUGEPAGE);  // no more than advice
  std::free(block);
#endif
}

}  // namespace ripplegauge::cli
