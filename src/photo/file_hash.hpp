#pragma once

#include <filesystem>
#include <string>
#include <string_view>

namespace ripplegauge {

/// SHA-256 (FIPS 180-4), 64 lower-case hex digits.
std::string sha256_of_bytes(std::string_view bytes);

/// The same of a file's bytes, read in pieces. Throws FileError.
std::string sha256_of_file(const std::filesystem::path& path);

}  // namespace ripplegauge
