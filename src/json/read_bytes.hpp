#pragma once

#include <cstddef>
#include <filesystem>
#include <string>

namespace ripplegauge {

/// All bytes of a file. Throws FileError when it is missing, a folder, unreadable, or larger than
/// `max_bytes`: nobody's file should be able to fill the memory.
std::string read_bytes(const std::filesystem::path& file, std::size_t max_bytes);

}  // namespace ripplegauge
