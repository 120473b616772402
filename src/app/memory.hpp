// What a photo too large for the machine shows up as.
#pragma once

#include <exception>

namespace ripplegauge {

/// Whether an exception says that the system gave no more memory or threads, in whoever's words.
bool is_out_of_memory(const std::exception& error);

}  // namespace ripplegauge
