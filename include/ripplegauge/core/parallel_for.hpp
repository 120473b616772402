// Independent pieces of work on several threads, where each piece knows where its result belongs: the same on one
// thread and on sixteen.
#pragma once

#include <algorithm>
#include <atomic>
#include <cstddef>
#include <exception>
#include <mutex>
#include <thread>
#include <vector>

namespace ripplegauge {

/// Calls work(0) ... work(count - 1), on this thread and `threads` - 1 others. Throws what the first failing piece threw.
template <class Work>
void parallel_for(std::size_t count, int threads, const Work& work) {
  std::atomic<std::size_t> next{0};
  std::exception_ptr error;
  std::mutex mutex;
  const auto run = [&] {
    for (std::size_t i = next++; i < count; i = next++) {
      try {
        work(i);
      } catch (...) {
        const std::lock_guard lock(mutex);
        if (!error) error = std::current_exception();
        next = count;
      }
    }
  };
  {
    std::vector<std::jthread> others;
    const std::size_t helpers = std::min<std::size_t>(static_cast<std::size_t>(std::max(threads, 1)), count);
    for (std::size_t i = 1; i < helpers; ++i) others.emplace_back(run);
    run();
  }
  if (error) std::rethrow_exception(error);
}

}  // namespace ripplegauge
