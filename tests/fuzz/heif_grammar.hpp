// HEIF files out of any bytes, each of which is a choice: a fuzzer gets deeper with boxes that fit together
// than by turning bits of one file.
#pragma once

#include <string>
#include <string_view>

namespace ripplegauge::fuzz {

/// `sample` is a HEIC file with one coded picture, whose configuration and pixels are used.
std::string heif_from_choices(std::string_view choices, const std::string& sample);

}  // namespace ripplegauge::fuzz
