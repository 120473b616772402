// Independent pieces of work on several threads, where each piece knows where its result belongs: the same on
// one thread and on sixteen.
#pragma once

#include <algorithm>
#include <atomic>
#include <cstddef>
#include <exception>
#include <mutex>

namespace ripplegauge {

namespace detail {
/// Calls run(loop) on this thread and, as far as any of the process's helpers has nothing to do, on up to
/// `most` others at once; returns when all have returned. While it waits for them, this thread helps with
/// loops inside their pieces.
void run_with_help(int most, void (*run)(void* loop), void* loop);
}  // namespace detail

/// Calls work(0) ... work(count - 1), on this thread and on up to `threads` - 1 others that have nothing else
/// to do. A piece may hold another loop. Throws what the first failing piece threw.
template <class Work>
void parallel_for(std::size_t count, int threads, const Work& work) {
  struct Loop {
    const std::size_t count;
    const Work& work;
    std::atomic<std::size_t> next{0};
    std::exception_ptr error{};
    std::mutex mutex{};

    void run() {
      for (std::size_t i = next++; i < count; i = next++) {
        try {
          work(i);
        } catch (...) {
          const std::lock_guard lock(mutex);
          if (!error) error = std::current_exception();
          next = count;
        }
      }
    }
  } loop{count, work};
  const auto most = static_cast<int>(std::min(count, static_cast<std::size_t>(std::max(threads, 1))));
  if (most <= 1)
    loop.run();
  else
    detail::run_with_help(
        most - 1, [](void* self) { static_cast<Loop*>(self)->run(); }, &loop);
  if (loop.error) std::rethrow_exception(loop.error);
}

}  // namespace ripplegauge
