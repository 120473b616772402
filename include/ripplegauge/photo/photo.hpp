// Photos as they come from phones: JPEG, PNG, HEIC.
#pragma once

#include <filesystem>
#include <opencv2/core/mat.hpp>
#include <optional>
#include <string>
#include <string_view>

namespace ripplegauge {

/// A decoded photo, turned upright (EXIF orientation applied once, to pixels and everything said about them).
struct Photo {
  std::string name;  ///< the path as given, UTF-8
  cv::Mat grey;      ///< CV_8UC1, sRGB-coded luma, rows x cols as seen upright; pixel centres at integers
  /// 35 mm equivalent focal length; absent when EXIF is silent or says what no phone has.
  std::optional<double> focal_35mm_mm;
  std::string date_taken;    ///< "YYYY-MM-DD HH:MM:SS" from EXIF, empty when unknown
  int exif_orientation = 1;  ///< 1..8, already applied
};

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

/// The same file in colour, upright, for pictures that people look at: CV_8UC3 in B, G, R order, reduced by
/// whole factors so that the longer side is at most `max_side_px`.
cv::Mat read_photo_colour(const std::filesystem::path& path, int max_side_px, const PhotoLimits& limits = {});

/// Focal length in pixels of a photo of this size from its 35 mm equivalent, by the diagonal: the 36 x 24 mm
/// frame has a diagonal of 43.2666 mm.
double focal_px_from_35mm(double focal_35mm_mm, int width_px, int height_px);

}  // namespace ripplegauge
