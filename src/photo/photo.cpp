// Tells the format, checks size and density before anything is decoded, decodes, and turns the picture
// upright.
#include "ripplegauge/photo/photo.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>
#include <opencv2/core.hpp>

#include "decode.hpp"
#include "exif.hpp"
#include "image/opencv_threads.hpp"
#include "photo_file.hpp"
#include "ripplegauge/core/errors.hpp"

namespace ripplegauge {

using namespace photo_detail;

namespace photo_detail {

DecodeError damaged(const std::string& decoder_says) {
  return DecodeError("is damaged or cut short (" + decoder_says + "); copy it from the phone again");
}

void check_size(double width_px, double height_px, const PhotoLimits& limits) {
  if (!(width_px >= 1 && height_px >= 1)) throw damaged("it says that it has no pixels");
  const double megapixels = width_px * height_px * 1e-6;
  if (megapixels <= limits.max_megapixels) return;
  char text[200];
  std::snprintf(text, sizeof text,
                "has %.0f x %.0f pixels (%.0f megapixels); photos of up to %.0f megapixels are read: set the "
                "phone to a "
                "smaller size, 12 megapixels are plenty",
                width_px, height_px, megapixels, limits.max_megapixels);
  throw DecodeError(text);
}

void check_density(double width_px, double height_px, std::size_t file_bytes, const PhotoLimits& limits) {
  const double pixels = width_px * height_px;
  if (pixels <= limits.large_megapixels * 1e6) return;
  if (pixels <= limits.max_pixels_per_byte * static_cast<double>(file_bytes)) return;
  char text[200];
  std::snprintf(
      text, sizeof text,
      "says that it has %.0f x %.0f pixels, but at %.0f kB it cannot hold a photo of that size; copy it "
      "from the phone again",
      width_px, height_px, 1e-3 * static_cast<double>(file_bytes));
  throw DecodeError(text);
}

int reduction(int width_px, int height_px, const Wish& wish) {
  if (!wish.colour) return 1;
  const int longer = std::max(width_px, height_px);
  return std::max(1, (longer + wish.max_side_px - 1) / wish.max_side_px);
}

}  // namespace photo_detail

namespace {

struct UprightPhoto {
  cv::Mat pixels;
  ExifFacts exif;
};

/// Turns a picture by its EXIF orientation (CIPA DC-008: where the stored row 0 and column 0 belong when the
/// picture is seen upright). The stored picture is let go as soon as the turned one is there.
cv::Mat turned_upright(cv::Mat stored, int orientation) {
  cv::Mat turned;
  switch (orientation) {
    case 2:  // top, right
      cv::flip(stored, stored, 1);
      return stored;
    case 3:  // bottom, right
      cv::flip(stored, stored, -1);
      return stored;
    case 4:  // bottom, left
      cv::flip(stored, stored, 0);
      return stored;
    case 5:  // left, top
      cv::transpose(stored, turned);
      return turned;
    case 6:  // right, top
      cv::rotate(stored, turned, cv::ROTATE_90_CLOCKWISE);
      return turned;
    case 7:  // right, bottom
      cv::transpose(stored, turned);
      stored.release();
      cv::flip(turned, turned, -1);
      return turned;
    case 8:  // left, bottom
      cv::rotate(stored, turned, cv::ROTATE_90_COUNTERCLOCKWISE);
      return turned;
    default:
      return stored;
  }
}

Decoded decode(std::string_view bytes, const Wish& wish, const PhotoLimits& limits) {
  switch (format_of(bytes)) {
    case Format::jpeg:
      return decode_jpeg(bytes, wish, limits);
    case Format::png:
      return decode_png(bytes, wish, limits);
    case Format::heif:
      return decode_heif(bytes, wish, limits);
  }
  throw DecodeError("is of no known format");
}

UprightPhoto decode_upright(std::string_view bytes, const std::string& name, const Wish& wish,
                            const PhotoLimits& limits) {
  opencv_on_our_threads();
  try {
    Decoded decoded = decode(bytes, wish, limits);
    UprightPhoto photo;
    photo.exif = exif_facts(decoded.exif);
    photo.pixels = decoded.is_upright ? std::move(decoded.pixels)
                                      : turned_upright(std::move(decoded.pixels), photo.exif.orientation);
    return photo;
  } catch (const DecodeError& error) {
    throw FileError(name, error.what());
  } catch (const cv::Exception&) {  // OpenCV's word for an allocation that failed
    throw FileError(name, "needs more memory than there is; use a smaller photo");
  }
}

}  // namespace

Photo decode_photo(std::string_view bytes, const std::string& name, const PhotoLimits& limits, int threads) {
  UprightPhoto upright = decode_upright(bytes, name, {.threads = threads}, limits);
  Photo photo;
  photo.name = name;
  photo.grey = std::move(upright.pixels);
  photo.focal_35mm_mm = upright.exif.focal_35mm_mm;
  photo.date_taken = std::move(upright.exif.date_taken);
  photo.exif_orientation = upright.exif.orientation;
  return photo;
}

Photo read_photo(const std::filesystem::path& path, const PhotoLimits& limits, int threads) {
  return decode_photo(load_photo_file(path, limits), path.string(), limits, threads);
}

std::string date_taken_of(const std::filesystem::path& path, const PhotoLimits& limits) {
  try {
    const std::string bytes = load_photo_file(path, limits);
    if (format_of(bytes) == Format::jpeg) return exif_facts(exif_of_jpeg(bytes)).date_taken;
    return decode_photo(bytes, path.string(), limits).date_taken;
  } catch (const FileError&) {  // whoever measures it says what is wrong
    return {};
  } catch (const DecodeError&) {
    return {};
  }
}

cv::Mat read_photo_colour(const std::filesystem::path& path, int max_side_px, const PhotoLimits& limits) {
  if (max_side_px < 1)
    throw UsageError("max_side_px is " + std::to_string(max_side_px) + ", but must be at least 1");
  const Wish wish{.colour = true, .max_side_px = max_side_px};
  return decode_upright(load_photo_file(path, limits), path.string(), wish, limits).pixels;
}

}  // namespace ripplegauge
