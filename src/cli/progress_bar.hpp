#pragma once

#include <chrono>
#include <cstddef>
#include <string>

namespace ripplegauge::cli {

/// How far a long run is. On a terminal a bar at its foot, with only what needs attention above it; elsewhere
/// a line for each step.
class ProgressBar {
 public:
  explicit ProgressBar(std::size_t count);
  ~ProgressBar();
  ProgressBar(const ProgressBar&) = delete;
  ProgressBar& operator=(const ProgressBar&) = delete;

  /// One step is done: what came of it, and whether somebody should read it although there is a bar.
  void step(const std::string& line, bool needs_attention);

 private:
  void draw() const;
  void erase() const;
  std::string time_left() const;

  const std::size_t count_;
  const bool bar_;  ///< whether somebody watches
  const std::chrono::steady_clock::time_point start_ = std::chrono::steady_clock::now();
  std::size_t steps_ = 0;
};

}  // namespace ripplegauge::cli
