#include <libheif/heif.h>

#include <algorithm>
#include <cstdint>
#include <memory>
#include <opencv2/core.hpp>
#include <vector>

#include "decode.hpp"
#include "rows.hpp"

namespace ripplegauge::photo_detail {
namespace {

template <auto free_function>
struct Free {
  template <typename T>
  void operator()(T* pointer) const {
    free_function(pointer);
  }
};
using Context = std::unique_ptr<heif_context, Free<heif_context_free>>;
using Handle = std::unique_ptr<heif_image_handle, Free<heif_image_handle_release>>;
using Image = std::unique_ptr<heif_image, Free<heif_image_release>>;
using Options = std::unique_ptr<heif_decoding_options, Free<heif_decoding_options_free>>;
using Nclx = std::unique_ptr<heif_color_profile_nclx, Free<heif_nclx_color_profile_free>>;

void check(const heif_error& error) {
  if (error.code == heif_error_Ok) return;
  if (error.code == heif_error_Unsupported_feature || error.code == heif_error_Unsupported_filetype ||
      error.code == heif_error_Decoder_plugin_error)
    throw DecodeError(std::string("is a HEIF file that cannot be decoded here (") + error.message +
                      "); let the phone save it as JPEG");
  throw damaged(error.message);
}

/// Decoded, turned and cropped as the file says: libheif follows the rotation and mirror properties itself.
Image decode(const heif_image_handle* handle, heif_colorspace colours, heif_chroma chroma) {
  const Options options(heif_decoding_options_alloc());
  if (!options) throw std::bad_alloc();
  options->convert_hdr_to_8bit = 1;
  options->strict_decoding = 1;
  heif_image* image = nullptr;
  check(heif_decode_image(handle, &image, colours, chroma, options.get()));
  return Image(image);
}

struct Plane {
  const std::uint8_t* data = nullptr;
  int stride = 0, width = 0, height = 0;
  const std::uint8_t* row(int y) const { return data + static_cast<std::size_t>(stride) * y; }
};

Plane plane_of(const heif_image* image, heif_channel channel) {
  Plane plane;
  plane.data = heif_image_get_plane_readonly(image, channel, &plane.stride);
  plane.width = heif_image_get_width(image, channel);
  plane.height = heif_image_get_height(image, channel);
  if (plane.data == nullptr || plane.width <= 0 || plane.height <= 0) throw damaged("no pixels");
  return plane;
}

/// Luma coded as 16..235 ("video range"), as some encoders do, spread to 0..255.
void spread_video_range(cv::Mat& grey) {
  cv::Mat table(1, 256, CV_8UC1);
  for (int i = 0; i < 256; ++i)
    table.at<std::uint8_t>(i) = cv::saturate_cast<std::uint8_t>((i - 16) * 255.0 / 219.0);
  cv::LUT(grey, table, grey);
}

bool is_video_range(const heif_image* image) {
  heif_color_profile_nclx* profile = nullptr;
  if (heif_image_get_nclx_color_profile(image, &profile).code != heif_error_Ok) return false;
  return Nclx(profile)->full_range_flag == 0;
}

cv::Mat picture_from_rgb(const heif_image_handle* handle, const Wish& wish) {
  const bool alpha = heif_image_handle_has_alpha_channel(handle) != 0;
  const Image image =
      decode(handle, heif_colorspace_RGB, alpha ? heif_chroma_interleaved_RGBA : heif_chroma_interleaved_RGB);
  const Plane plane = plane_of(image.get(), heif_channel_interleaved);
  RowTaker rows(plane.width, plane.height, wish.colour, reduction(plane.width, plane.height, wish));
  for (int y = 0; y < plane.height; ++y) rows.take(plane.row(y), alpha ? 4 : 3);
  return rows.picture();
}

/// The luma plane as the phone coded it, without a detour through RGB.
cv::Mat grey_picture(const heif_image_handle* handle) {
  const Image image = decode(handle, heif_colorspace_undefined, heif_chroma_undefined);
  const heif_colorspace colours = heif_image_get_colorspace(image.get());
  if (colours != heif_colorspace_YCbCr && colours != heif_colorspace_monochrome)
    return picture_from_rgb(handle, {});
  const Plane plane = plane_of(image.get(), heif_channel_Y);
  const int bits = heif_image_get_bits_per_pixel_range(image.get(), heif_channel_Y);
  cv::Mat grey(plane.height, plane.width, CV_8UC1);
  for (int y = 0; y < plane.height; ++y) {
    const std::uint8_t* row = plane.row(y);
    if (bits <= 8) {
      std::copy(row, row + plane.width, grey.ptr(y));
    } else {
      const auto* wide = reinterpret_cast<const std::uint16_t*>(row);
      std::transform(wide, wide + plane.width, grey.ptr(y),
                     [bits](std::uint16_t value) { return static_cast<std::uint8_t>(value >> (bits - 8)); });
    }
  }
  if (is_video_range(image.get())) spread_video_range(grey);
  return grey;
}

std::string exif_of(const heif_image_handle* handle) {
  heif_item_id id = 0;
  if (heif_image_handle_get_list_of_metadata_block_IDs(handle, "Exif", &id, 1) != 1) return {};
  std::string block(heif_image_handle_get_metadata_size(handle, id), '\0');
  if (block.size() <= 4 || heif_image_handle_get_metadata(handle, id, block.data()).code != heif_error_Ok)
    return {};
  // ISO/IEC 23008-12, annex A: a big-endian offset to the TIFF header, counted from behind itself.
  std::size_t offset = 0;
  for (int i = 0; i < 4; ++i) offset = offset << 8 | static_cast<unsigned char>(block[i]);
  return offset < block.size() - 4 ? block.substr(4 + offset) : std::string();
}

}  // namespace

Decoded decode_heif(std::string_view bytes, const Wish& wish, const PhotoLimits& limits) {
  const Context context(heif_context_alloc());
  if (!context) throw std::bad_alloc();
  check(heif_context_read_from_memory_without_copy(context.get(), bytes.data(), bytes.size(), nullptr));
  heif_image_handle* primary = nullptr;
  check(heif_context_get_primary_image_handle(context.get(), &primary));
  const Handle handle(primary);
  check_size(heif_image_handle_get_width(primary), heif_image_handle_get_height(primary), limits);
  check_size(heif_image_handle_get_ispe_width(primary), heif_image_handle_get_ispe_height(primary), limits);
  Decoded decoded;
  decoded.is_upright = true;
  decoded.exif = exif_of(primary);
  decoded.pixels = wish.colour ? picture_from_rgb(primary, wish) : grey_picture(primary);
  return decoded;
}

}  // namespace ripplegauge::photo_detail
