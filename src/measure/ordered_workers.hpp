// A list of independent tasks on several threads, with results that come back in the order of the list:
// whatever is done with them is the same on one core and on sixteen.
#pragma once

#include <algorithm>
#include <atomic>
#include <chrono>
#include <condition_variable>
#include <cstddef>
#include <exception>
#include <functional>
#include <map>
#include <mutex>
#include <optional>
#include <thread>
#include <utility>
#include <vector>

namespace ripplegauge {

template <class Result>
class OrderedWorkers {
 public:
  using Work = std::function<Result(std::size_t)>;

  /// Starts `work(0)` ... `work(count - 1)` on `threads` threads. It must be safe to run at the same time as
  /// itself.
  OrderedWorkers(std::size_t count, std::size_t threads, Work work) : count_(count), work_(std::move(work)) {
    for (std::size_t i = 0; i < std::min(std::max<std::size_t>(threads, 1), count); ++i)
      threads_.emplace_back([this] { run(); });
  }
  /// Begins no more tasks and waits for those that are running.
  ~OrderedWorkers() { stop_ = true; }
  OrderedWorkers(const OrderedWorkers&) = delete;
  OrderedWorkers& operator=(const OrderedWorkers&) = delete;

  /// Whether all results have been handed out.
  bool done() const { return next_ == count_; }

  /// The result whose turn it is; nothing if it is not there after `patience`. Throws what its task threw.
  std::optional<Result> next(std::chrono::milliseconds patience) {
    std::unique_lock lock(mutex_);
    if (done() || !arrived_.wait_for(lock, patience, [this] { return finished_.contains(next_); }))
      return std::nullopt;
    Outcome outcome = std::move(finished_.extract(next_).mapped());
    ++next_;
    lock.unlock();
    if (outcome.error) std::rethrow_exception(outcome.error);
    return std::move(outcome.result);
  }

  /// What has finished ahead of its turn, in the order of the list, without waiting for the gaps between; for
  /// a run that ends early. Tasks that threw are left out.
  std::vector<std::pair<std::size_t, Result>> finished_ahead() {
    stop_ = true;
    const std::lock_guard lock(mutex_);
    std::vector<std::pair<std::size_t, Result>> ahead;
    for (auto& [index, outcome] : finished_)
      if (outcome.result) ahead.emplace_back(index, std::move(*outcome.result));
    finished_.clear();
    return ahead;
  }

 private:
  struct Outcome {
    std::optional<Result> result;
    std::exception_ptr error;
  };

  void run() {
    while (!stop_) {
      const std::size_t index = started_++;
      if (index >= count_) return;
      Outcome outcome;
      try {
        outcome.result = work_(index);
      } catch (...) {
        outcome.error = std::current_exception();
      }
      const std::lock_guard lock(mutex_);
      finished_.emplace(index, std::move(outcome));
      arrived_.notify_one();
    }
  }

  const std::size_t count_;
  const Work work_;
  std::atomic<std::size_t> started_{0};
  std::atomic<bool> stop_{false};
  std::size_t next_ = 0;  ///< used by the caller's thread alone
  std::mutex mutex_;
  std::condition_variable arrived_;
  std::map<std::size_t, Outcome> finished_;
  std::vector<std::jthread> threads_;  ///< last: they end before what they use
};

}  // namespace ripplegauge
