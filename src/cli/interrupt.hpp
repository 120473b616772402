#pragma once

#include <csignal>

namespace ripplegauge::cli {

/// While it lives, Ctrl-C (SIGINT), SIGTERM and SIGHUP only leave word, so that a run can end in good order.
/// A second one ends the program at once. One at a time.
class Interrupt {
 public:
  Interrupt();
  ~Interrupt();
  Interrupt(const Interrupt&) = delete;
  Interrupt& operator=(const Interrupt&) = delete;

  bool asked() const;
  /// Ends the program as the signal would have, so that the shell knows.
  [[noreturn]] void pass_on() const;

 private:
  struct sigaction before_[3];
};

}  // namespace ripplegauge::cli
