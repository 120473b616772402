#pragma once

#include <exception>

namespace ripplegauge::cli {

/// For commands that work on one photo and end: what is freed is kept for what comes next, and the system is
/// asked for few large pages instead of thousands of small ones, each of which costs more than a microsecond
/// at its first touch. Changes no result.
void expect_large_pictures();

/// Whether an exception says that the system gave no more memory or threads, in whoever's words.
bool is_out_of_memory(const std::exception& error);

}  // namespace ripplegauge::cli
