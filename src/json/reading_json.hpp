// The parts of a reading that other files hold too, written as the reading's own file has them.
#pragma once

#include "json/json_write.hpp"
#include "ripplegauge/core/reading.hpp"

namespace ripplegauge {

OrderedJson json_of(const PhotoInfo& info);  ///< without its name
OrderedJson json_of(const Refusal& refusal);
OrderedJson json_of(const Warning& warning);
OrderedJson json_of(const Setup& setup);

/// Text as it may stand in a file: a photo's name can hold control characters, which would act on a terminal.
std::string without_control_characters(const std::string& text);

}  // namespace ripplegauge
