#pragma once

#include <filesystem>

#include "advice/kit.hpp"

namespace ripplegauge {

/// A workshop's kit, schema 1: tabs, pullers, glues, tips, hammers; each list may be empty or left out.
/// Throws FileError.
Kit read_kit(const std::filesystem::path& file);

}  // namespace ripplegauge
