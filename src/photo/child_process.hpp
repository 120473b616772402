#pragma once

#include <cstddef>
#include <functional>

namespace ripplegauge::photo_detail {

/// Memory that a child process fills for its parent; untouched pages cost nothing. Throws std::bad_alloc.
class SharedMemory {
 public:
  explicit SharedMemory(std::size_t bytes);
  ~SharedMemory();
  SharedMemory(const SharedMemory&) = delete;
  SharedMemory& operator=(const SharedMemory&) = delete;

  std::byte* data() const { return data_; }
  std::size_t size() const { return size_; }

 private:
  std::byte* data_;
  std::size_t size_;
};

struct ChildLimits {
  unsigned processor_s = 2;      ///< of all its threads together
  unsigned clock_s = 60;         ///< until it is given up, whatever it waits for
  std::size_t memory_bytes = 0;  ///< beyond what this process has reserved
};

enum class ChildEnd { done, out_of_memory, too_slow, crashed };

/// Runs `work` in a copy of this process and waits for it; of what it does only what it writes into shared
/// memory remains. It prints nothing, and it ends when this process does. Throws std::system_error when no
/// process can be made.
///
/// Other threads may be at work meanwhile: their locks, which the copy finds as they were, are never let go
/// there. So `work` must keep to functions whose locks nobody else takes, and to the heap, whose locks the C
/// library cares for.
ChildEnd run_in_child(const ChildLimits& limits, const std::function<void()>& work);

}  // namespace ripplegauge::photo_detail
