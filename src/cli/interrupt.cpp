// Signals only set a flag, which the folder run asks for between photos. Handlers of before come back in the
// end.
#include "interrupt.hpp"

#include <atomic>
#include <cstdlib>

namespace ripplegauge::cli {

namespace {

constexpr int signals[] = {SIGINT, SIGTERM, SIGHUP};

// A handler can reach nothing but a global.
std::atomic<int> received{0};
static_assert(std::atomic<int>::is_always_lock_free);

void leave_word(int signal) { received = signal; }

}  // namespace

Interrupt::Interrupt() {
  received = 0;
  struct sigaction action {};
  action.sa_handler = leave_word;
  action.sa_flags = SA_RESTART | static_cast<int>(SA_RESETHAND);
  for (std::size_t i = 0; i < std::size(signals); ++i) {
    ::sigaction(signals[i], nullptr, &before_[i]);
    // Whoever started us in the background may have said not to listen.
    if (before_[i].sa_handler != SIG_IGN) ::sigaction(signals[i], &action, nullptr);
  }
}

Interrupt::~Interrupt() {
  for (std::size_t i = 0; i < std::size(signals); ++i) ::sigaction(signals[i], &before_[i], nullptr);
}

bool Interrupt::asked() const { return received != 0; }

void Interrupt::pass_on() const {
  const int signal = received;
  std::signal(signal, SIG_DFL);
  std::raise(signal);
  std::abort();  // not reached
}

}  // namespace ripplegauge::cli
