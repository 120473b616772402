// One decoder a format, all with the same shape: the bytes of a file in, pixels as stored out.
#pragma once

#include <opencv2/core/mat.hpp>
#include <stdexcept>
#include <string>
#include <string_view>

#include "ripplegauge/photo/photo.hpp"

namespace ripplegauge::photo_detail {

/// What is wrong with the bytes, as the rest of the sentence "FILE: ...".
class DecodeError : public std::runtime_error {
 public:
  using std::runtime_error::runtime_error;
};

/// The sentence for a file that promises to be a photo and then breaks.
DecodeError damaged(const std::string& decoder_says);

/// Grey at full size, or colour (B, G, R) with the longer side at most `max_side_px`.
struct Wish {
  bool colour = false;
  int max_side_px = 0;
  int threads = 1;  ///< to decode on, where the format lets itself be parted
};

struct Decoded {
  cv::Mat pixels;           ///< CV_8UC1 or CV_8UC3, rows and columns as stored
  std::string exif;         ///< the EXIF block from its TIFF header on; empty when there is none
  bool is_upright = false;  ///< the format has its own way to say which way is up, and it was followed
};

/// The EXIF block among the segments before the pixels; empty when there is none.
std::string exif_of_jpeg(std::string_view bytes);

Decoded decode_jpeg(std::string_view bytes, const Wish& wish, const PhotoLimits& limits);
Decoded decode_png(std::string_view bytes, const Wish& wish, const PhotoLimits& limits);
Decoded decode_heif(std::string_view bytes, const Wish& wish, const PhotoLimits& limits);

/// Throws DecodeError for sizes that a header may promise but that are not decoded. Called before any pixel
/// is.
void check_size(double width_px, double height_px, const PhotoLimits& limits);

/// Throws DecodeError for a large picture in a file that is too small to hold one. Called before any pixel is
/// decoded.
void check_density(double width_px, double height_px, std::size_t file_bytes, const PhotoLimits& limits);

/// The whole factor by which a photo of this size is reduced to fulfil a wish; 1 for grey.
int reduction(int width_px, int height_px, const Wish& wish);

}  // namespace ripplegauge::photo_detail
