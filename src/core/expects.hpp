// What a function may take for granted, said in code. A broken precondition is a mistake in the program,
// never a user's: those get UsageError and FileError.
#pragma once

#include <stdexcept>
#include <string>

namespace ripplegauge {

/// `what()` names file, line and what was expected.
class BrokenPrecondition : public std::logic_error {
 public:
  using std::logic_error::logic_error;
};

namespace detail {
[[noreturn]] inline void broken_precondition(const char* what, const char* file, int line) {
  throw BrokenPrecondition(std::string(file) + ":" + std::to_string(line) + ": expected " + what);
}
}  // namespace detail

/// Checked in every build: a wrong number costs more than a comparison. Not for the insides of kernels. File
/// and line are the caller's (Clang 14 has no std::source_location, but has what GCC's is made of).
inline void expects(bool condition, const char* what, const char* file = __builtin_FILE(),
                    int line = __builtin_LINE()) {
  if (!condition) [[unlikely]]
    detail::broken_precondition(what, file, line);
}

}  // namespace ripplegauge
