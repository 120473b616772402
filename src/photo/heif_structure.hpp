#pragma once

#include <string_view>

#include "ripplegauge/photo/photo.hpp"

namespace ripplegauge::photo_detail {

/// Size of a HEIF file's picture as it is decoded, before it is cropped and turned.
struct HeifPicture {
  double width_px = 0, height_px = 0;
};

/// Holds the boxes of a HEIF file against what phones write, before its decoder sees a byte: one picture
/// coded as HEVC, or one grid of tiles coded so, whose sizes in the boxes, in the grid and in the streams
/// agree and keep the limits. A decoder that follows pictures derived from each other, or tiles that are
/// larger than their grid, can be kept busy for hours by a small file. Throws DecodeError.
HeifPicture check_heif(std::string_view file, const PhotoLimits& limits);

}  // namespace ripplegauge::photo_detail
