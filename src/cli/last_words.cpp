// Sentences by plain system calls.
#include "last_words.hpp"

#include <glib.h>
#include <unistd.h>

#include <csignal>
#include <cstdlib>
#include <exception>
#include <new>
#include <string_view>

#include "command.hpp"

namespace ripplegauge::cli {
namespace {

void say(std::string_view text) noexcept {
  while (!text.empty()) {
    const ssize_t written = ::write(STDERR_FILENO, text.data(), text.size());
    if (written <= 0) return;
    text.remove_prefix(static_cast<std::size_t>(written));
  }
}

void break_down(int signal) {
  say("ripplegauge: broke down, for want of memory or by a fault of its own; no file was left half written. "
      "End other programs and try again; if it happens again, keep the files for whoever mends the "
      "program.\n");
  std::signal(signal, SIG_DFL);
  std::raise(signal);
}

/// An exception that nothing may leave by: a destructor that wanted memory, for one.
[[noreturn]] void end_uncaught() {
  try {
    if (std::current_exception()) throw;
  } catch (const std::bad_alloc&) {
    ::_exit(say_out_of_memory());
  } catch (...) {  // the signal tells it
  }
  std::abort();
}

/// GLib, which draws text, ends the program where an allocation fails; that is all that it calls an error.
void hear_glib(const char* domain, GLogLevelFlags level, const char* message, void* data) {
  if ((level & G_LOG_LEVEL_ERROR) != 0) ::_exit(say_out_of_memory());
  g_log_default_handler(domain, level, message, data);
}

}  // namespace

int say_out_of_memory() noexcept {
  say("ripplegauge: out of memory; use a smaller photo, or end other programs\n");
  return exit_file;
}

void speak_before_breaking_down() {
  std::set_terminate(end_uncaught);
  g_log_set_default_handler(hear_glib, nullptr);
  static char stack[16384];  // where the program's own has run over
  const stack_t own{.ss_sp = stack, .ss_flags = 0, .ss_size = sizeof stack};
  ::sigaltstack(&own, nullptr);
  for (const int signal : {SIGSEGV, SIGBUS, SIGFPE, SIGILL, SIGABRT, SIGTRAP}) {
    struct sigaction before {};
    // Sanitizers tell more of it.
    if (::sigaction(signal, nullptr, &before) != 0 || before.sa_handler != SIG_DFL) continue;
    struct sigaction action {};
    action.sa_handler = break_down;
    action.sa_flags = static_cast<int>(SA_ONSTACK | SA_NODEFER | SA_RESETHAND);
    ::sigaction(signal, &action, nullptr);
  }
}

}  // namespace ripplegauge::cli
