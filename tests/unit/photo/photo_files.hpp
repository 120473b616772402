// Small photo files for tests, made with the encoders of the same libraries, and EXIF blocks made by hand.
#pragma once

#include <cstdint>
#include <opencv2/core.hpp>
#include <optional>
#include <string>

namespace ripplegauge::test {

struct ExifWish {
  std::optional<int> orientation;
  std::optional<int> focal_35mm_mm;
  std::optional<std::string> date;
};

/// A big-endian TIFF block (TIFF 6.0 structure; tag numbers of CIPA DC-008).
std::string exif_block(const ExifWish& wish);

struct JpegWish {
  int quality = 95;
  bool progressive = false;
  bool scan_for_each_coefficient = false;  ///< 127 scans
  bool coded_as_rgb = false;
  std::string exif;
};

/// From CV_8UC3 in R, G, B order or CV_8UC1; CMYK from CV_8UC4.
std::string jpeg_bytes(const cv::Mat& pixels, const JpegWish& wish = {});

struct PngWish {
  bool interlaced = false;
  std::string exif;
};

/// From CV_8U or CV_16U with 1 (grey), 2 (grey, alpha), 3 (R, G, B) or 4 (R, G, B, alpha) channels.
std::string png_bytes(const cv::Mat& pixels, const PngWish& wish = {});

/// A palette file: CV_8UC1 of indices into CV_8UC3 colours (one row, R, G, B), `bits` (1, 2, 4, 8) a pixel.
std::string palette_png_bytes(const cv::Mat& indices, const cv::Mat& colours, int bits);

struct HeicWish {
  int orientation = 1;  ///< written as rotation and mirror properties, in the EXIF numbering
  int bits = 8;         ///< of the coded luma; more than 8 as in HDR photos
  std::string exif;
};

/// From CV_8UC1 (luma with neutral colour); empty where libheif has no HEVC encoder.
std::string heic_bytes(const cv::Mat& grey, const HeicWish& wish = {});

/// A grey picture with structure everywhere; the same for the same seed.
cv::Mat textured_picture(int width, int height, unsigned seed);

}  // namespace ripplegauge::test
