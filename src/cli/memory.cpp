// How the process asks the system for memory.
#include "memory.hpp"

#include <cstddef>
#include <cstdlib>
#include <limits>
#include <memory>

#ifdef __GLIBC__
#include <malloc.h>
#include <sys/mman.h>
#include <unistd.h>
#endif

namespace ripplegauge::cli {

void expect_large_pictures() {
#ifdef __GLIBC__
  constexpr int largest_picture = 32 << 20,
                heap =
                    96 << 20;  // bytes: the first is the most that mallopt takes, the second what 12 MP need
  mallopt(M_MMAP_THRESHOLD, largest_picture);
  mallopt(M_TRIM_THRESHOLD, std::numeric_limits<int>::max());
  mallopt(M_TOP_PAD, heap);
  // A heap of its own for each thread would keep what the others could use: five photos of one place took 38
  // MB more. Threads allocate large blocks, and rarely: none waits for another.
  mallopt(M_ARENA_MAX, 1);
  constexpr std::size_t more_than_is_free = 4 << 20;  // by now: the heap grows
  char* const block = static_cast<char*>(std::malloc(more_than_is_free));
  char* const top = static_cast<char*>(sbrk(0));
  if (block != nullptr && block < top) {  // else another allocator is in its place
    constexpr std::size_t page = 2 << 20;
    void* first_page = block;
    auto size = static_cast<std::size_t>(top - block);
    if (std::align(page, page, first_page, size) != nullptr)
      madvise(first_page, size / page * page, MADV_HUGEPAGE);  // no more than advice
  }
  std::free(block);
#endif
}

}  // namespace ripplegauge::cli
