#pragma once

#include <filesystem>
#include <string_view>

namespace ripplegauge {

/// Writes `bytes` to `target` all or nothing: into a temporary file beside it, flushed to the disk, then
/// renamed over it. Whatever fails, the file that stood there before is untouched and no temporary is left. A
/// symbolic link is followed; a device or pipe such as /dev/stdout is written straight. Throws FileError.
void write_atomically(const std::filesystem::path& target, std::string_view bytes);

}  // namespace ripplegauge
