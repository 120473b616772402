#pragma once

namespace ripplegauge {

/// Where write_atomically writes the file "-" to: standard output, unless the program has put something else
/// in its place. read_bytes takes "-" for standard input.
int& descriptor_for_dash();

}  // namespace ripplegauge
