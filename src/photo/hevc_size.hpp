#pragma once

#include <string_view>

#include "ripplegauge/photo/photo.hpp"

namespace ripplegauge::photo_detail {

/// A HEIF file says its pictures' size up to three times: in its boxes, in the coded stream, which the
/// decoder believes, and in a picture of tiles, which is what is filled. Throws DecodeError when a coded size
/// goes beyond the limits, so that a small file that promises a small picture cannot ask for gigabytes, and
/// for codings other than HEVC, which are not checked here.
void check_coded_size(std::string_view heif_bytes, const PhotoLimits& limits);

}  // namespace ripplegauge::photo_detail
