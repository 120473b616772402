// Decodes photos as they come from phones: JPEG, PNG, HEIC.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

#include "ripplegauge/image/photo.hpp"

namespace ripplegauge {

struct PhotoLimits {
  /// The largest photo that is decoded. Phones make up to 200 MP; panels gain nothing above 50 MP, and a
  /// header can promise any size, so it is checked before a pixel is decoded.
  double max_megapixels = 110;
  /// From this size on a file must have a byte for every so many pixels: a picture that packs tighter shows
  /// one even colour and is made to fill the memory. A blurred JPEG has a byte for some ten pixels.
  double large_megapixels = 12.6;
  double max_pixels_per_byte = 400;
  /// The largest file that is loaded: a 16-bit PNG of 50 MP, the largest that makes sense, has about 300 MB.
  double max_megabytes = 400;
};

/// Reads and decodes a photo to grey. Throws FileError (file, problem, what to do) for anything that is not a
/// whole, supported, sanely sized image. Never returns a partly decoded picture. A second of the `threads`
/// gains a quarter of the time and costs a half more work; the picture is the same.
Photo read_photo(const std::filesystem::path& path, const PhotoLimits& limits = {}, int threads = 1);

/// The same from the bytes of a file; `name` is for messages and Photo::name.
Photo decode_photo(std::string_view bytes, const std::string& name, const PhotoLimits& limits = {},
                   int threads = 1);

/// When the photo was taken, as Photo::date_taken; empty when unknown, also of a file that is no photo. Of a
/// JPEG no pixel is decoded.
std::string date_taken_of(const std::filesystem::path& path, const PhotoLimits& limits = {});

/// The same file in colour, upright, for pictures that people look at: CV_8UC3 in B, G, R order, reduced by
/// whole factors so that the longer side is at most `max_side_px`.
cv::Mat read_photo_colour(const std::filesystem::path& path, int max_side_px, const PhotoLimits& limits = {});

}  // namespace ripplegauge
