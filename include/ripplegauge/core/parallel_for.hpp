// Independent pieces of work on several threads, where each piece knows where its result belongs: the same on one
// thread and on sixteen.
#pragma once

#include <algorithm>
#include <atomic>
#include <cstddef>
#include <exception>
#include <mutex>
#include <system_error>
#include <thread>
#include <vector>

namespace ripplegauge {

namespace detail {
inline std::atomic<int> helpers_at_work{0};  ///< over all loops, those inside others' pieces, too
}

/// Calls work(0) ... work(count - 1), on this thread and on up to `threads` - 1 others, as long as not so many are at work in
/// the process already: a loop inside another's piece gets help when the outer one's helpers have nothing left to do. Throws
/// what the first failing piece threw.
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
  const auto help = [&] {
    run();
    --detail::helpers_at_work;
  };
  {
    std::vector<std::jthread> others;
    for (std::size_t i = 1; i < count && others.size() + 1 < static_cast<std::size_t>(std::max(threads, 1)); ++i) {
      if (detail::helpers_at_work++ < threads - 1) {
        try {
          others.emplace_back(help);
          continue;
        } catch (const std::system_error&) {  // the system has no thread left: do without
        }
      }
      --detail::helpers_at_work;
      break;
    }
    run();
  }
  if (error) std::rethrow_exception(error);
}

}  // namespace ripplegauge
