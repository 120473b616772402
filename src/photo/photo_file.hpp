#pragma once

#include <filesystem>
#include <string>
#include <string_view>

#include "ripplegauge/photo/photo.hpp"

namespace ripplegauge::photo_detail {

enum class Format { jpeg, png, heif };

/// Told from the first bytes, whatever the file is called. Throws DecodeError, which says what else it seems
/// to be.
Format format_of(std::string_view bytes);

/// The bytes of a photo file. Looks at the first ones before it loads the rest, so that a film or an archive
/// of many gigabytes is turned down at once. Throws FileError.
std::string load_photo_file(const std::filesystem::path& path, const PhotoLimits& limits);

}  // namespace ripplegauge::photo_detail
