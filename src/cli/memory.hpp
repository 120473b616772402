#pragma once

namespace ripplegauge::cli {

/// For commands that work on one photo and end: what is freed is kept for what comes next, and the system is
/// asked for few large pages instead of thousands of small ones, each of which costs more than a microsecond
/// at its first touch. Changes no result.
void expect_large_pictures();

}  // namespace ripplegauge::cli
