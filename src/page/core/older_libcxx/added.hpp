// What the core uses of C++20's library and the C++ library of Debian's emscripten does not have yet. Given
// to the compiler before every file.
#pragma once

#include <charconv>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <string>
#include <type_traits>

namespace std {

#ifndef __cpp_lib_bit_cast
template <class To, class From>
inline To bit_cast(const From& from) noexcept {
  static_assert(sizeof(To) == sizeof(From) && is_trivially_copyable_v<To> && is_trivially_copyable_v<From>);
  return __builtin_bit_cast(To, from);
}
#endif

// The module's locale is always "C", so that printf and strtod do what these should.

inline to_chars_result written_chars(char* first, char* last, const char* text, int length) {
  if (length < 0 || length > last - first) return {last, errc::value_too_large};
  memcpy(first, text, static_cast<size_t>(length));
  return {first + length, errc{}};
}

inline to_chars_result to_chars(char* first, char* last, double value, chars_format format, int precision) {
  char text[512];
  const char* const pattern = format == chars_format::fixed        ? "%.*f"
                              : format == chars_format::scientific ? "%.*e"
                                                                   : "%.*g";
  return written_chars(first, last, text, snprintf(text, sizeof text, pattern, precision, value));
}

inline from_chars_result from_chars(const char* first, const char* last, double& value) {
  const string text(first, last);
  char* end = nullptr;
  const double read = strtod(text.c_str(), &end);
  if (end == text.c_str()) return {first, errc::invalid_argument};
  value = read;
  return {first + (end - text.c_str()), errc{}};
}

}  // namespace std
