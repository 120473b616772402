// What a function may take for granted, said in code. A broken precondition is a mistake in the program,
// never a user's: those get UsageError and FileError.
#pragma once

#include <source_location>
#include <stdexcept>
#include <string>

namespace ripplegauge {

/// `what()` names file, line and what was expected.
class BrokenPrecondition : public std::logic_error {
 public:
  using std::logic_error::logic_error;
};

namespace detail {
[[noreturn]] inline void broken_precondition(const char* what, const std::source_location& where) {
  throw BrokenPrecondition(std::string(where.file_name()) + ":" + std::to_string(where.line()) +
                           ": expected " + what);
}
}  // namespace detail

/// Checked in every build: a wrong number costs more than a comparison. Not for the insides of kernels.
inline void expects(bool condition, const char* what,
                    const std::source_location& where = std::source_location::current()) {
  if (!condition) [[unlikely]]
    detail::broken_precondition(what, where);
}

}  // namespace ripplegauge
