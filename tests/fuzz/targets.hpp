// Every way in which bytes from somebody's disk enter the program, by name. The fuzzer feeds them with what
// it makes up, the replay test with the corpora in corpus/NAME.
#pragma once

#include <functional>
#include <map>
#include <string>
#include <string_view>

namespace ripplegauge::fuzz {

/// Throws, or ends the program, only where something is wrong with it: what is wrong with the bytes ends in a
/// FileError, which a target takes as the right answer.
using Target = std::function<void(std::string_view bytes)>;

const std::map<std::string, Target>& targets();

}  // namespace ripplegauge::fuzz
