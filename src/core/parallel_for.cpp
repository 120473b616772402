// One set of helper threads for all loops of the process, those inside others' pieces, too. Whoever waits for
// its own loop takes pieces of it; a helper that has nothing left joins another loop.
#include "core/parallel_for.hpp"

#include <algorithm>
#include <atomic>
#include <cstdint>
#include <list>
#include <mutex>
#include <system_error>
#include <thread>
#include <vector>

namespace ripplegauge::detail {
namespace {

/// A loop that may be joined.
struct OpenLoop {
  void (*run)(void* loop);
  void* loop;
  int wanted;       ///< helpers
  int at_work = 0;  ///< helpers that have joined and not returned
};

/// The threads of the process that help with loops: made when they are first asked for, then kept, since fits
/// ask thousands of times a second.
class Helpers {
 public:
  static Helpers& of_process() {
    static Helpers helpers;
    return helpers;
  }

  Helpers(const Helpers&) = delete;
  Helpers& operator=(const Helpers&) = delete;
  ~Helpers() {
    ending_ = true;
    tell();
  }

  void run(OpenLoop& loop) {
    std::list<OpenLoop*>::iterator place;
    {
      const std::lock_guard lock(mutex_);
      have_threads(static_cast<std::size_t>(loop.wanted));
      place = open_.insert(open_.end(), &loop);
    }
    tell();
    loop.run(loop.loop);
    std::unique_lock lock(mutex_);
    loop.wanted = 0;  // there is nothing left to begin
    while (loop.at_work > 0)
      if (!help_any(std::next(place), lock)) wait(lock);
    open_.erase(place);
  }

 private:
  Helpers() = default;

  /// As many as the system gives: without any, loops run on the threads that begin them.
  void have_threads(std::size_t count) {
    try {
      while (threads_.size() < count) threads_.emplace_back([this] { serve(); });
    } catch (const std::system_error&) {
    }
  }

  void serve() {
    std::unique_lock lock(mutex_);
    while (!ending_)
      if (!help_any(open_.begin(), lock)) wait(lock);
  }

  /// Joins the first loop from `from` on that wants help: those after a loop are inside it or inside what
  /// runs beside it, and their pieces are short. False where there is none.
  bool help_any(std::list<OpenLoop*>::iterator from, std::unique_lock<std::mutex>& lock) {
    const auto at = std::find_if(from, open_.end(), [](const OpenLoop* loop) { return loop->wanted > 0; });
    if (at == open_.end()) return false;
    OpenLoop& loop = **at;
    --loop.wanted;
    ++loop.at_work;
    lock.unlock();
    loop.run(loop.loop);
    lock.lock();
    loop.wanted = 0;
    if (--loop.at_work == 0) tell();
    return true;
  }

  /// Until something changes; awake for a moment first, since the next loop is mostly near and to be woken
  /// takes long.
  void wait(std::unique_lock<std::mutex>& lock) {
    const std::uint32_t seen = changes_;
    lock.unlock();
    constexpr int moment = 1000;  // looks: some tens of microseconds
    for (int i = 0; i < moment && changes_ == seen; ++i) pause();
    if (changes_ == seen) changes_.wait(seen);
    lock.lock();
  }

  void tell() {
    ++changes_;
    changes_.notify_all();
  }

  static void pause() {
#if defined(__x86_64__) || defined(__i386__)
    __builtin_ia32_pause();
#endif
  }

  std::mutex mutex_;
  std::list<OpenLoop*> open_;  ///< in the order in which they began
  std::atomic<std::uint32_t> changes_{0};
  std::atomic<bool> ending_{false};
  std::vector<std::jthread> threads_;  ///< last: they end before what they use
};

}  // namespace

void run_with_help(int most, void (*run)(void* loop), void* loop) {
  OpenLoop open{run, loop, most};
  Helpers::of_process().run(open);
}

}  // namespace ripplegauge::detail
