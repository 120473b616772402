#pragma once

#include <filesystem>
#include <string_view>

namespace ripplegauge {

/// What happens to a symbolic link that has the file's name.
enum class Links {
  followed,  ///< for names that the user gave
  replaced  ///< for names that the program makes up: a link there was put by somebody else, and what it leads
            ///< to is left alone
};

/// Writes `bytes` to `target` all or nothing: into a temporary file beside it, flushed to the disk, then
/// renamed over it. Whatever fails, the file that stood there before is untouched and no temporary is left.
/// Temporaries that an earlier run left in that folder because it was killed are removed. A device or pipe
/// such as /dev/stdout is written straight, where links are followed. Throws FileError.
void write_atomically(const std::filesystem::path& target, std::string_view bytes,
                      Links links = Links::followed);

}  // namespace ripplegauge
