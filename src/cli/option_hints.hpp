// How the command line says what a message asks for: messages of the library name the thing, this names the
// option.
#pragma once

#include <string>

#include "ripplegauge/core/reading.hpp"

namespace ripplegauge::cli {

/// "Check the board's pitch. Options: --board-pitch." Remedies that no option helps with are left as they
/// are.
std::string remedy_with_options(const Refusal& refusal);

}  // namespace ripplegauge::cli
