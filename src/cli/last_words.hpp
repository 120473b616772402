// What the program says when it cannot go on: without allocating, since memory may be what it lacks.
#pragma once

namespace ripplegauge::cli {

/// One sentence on standard error. Returns the exit code.
int say_out_of_memory() noexcept;

/// From now on a sentence goes before the end by a signal that faults raise; the end stays the signal's.
/// Libraries that draw text break down so where memory runs out. Files are written whole or not at all, so
/// nothing is lost.
void speak_before_breaking_down();

}  // namespace ripplegauge::cli
