#include <libheif/heif.h>

#include <cstdint>
#include <memory>

#include "decode.hpp"
#include "hevc_size.hpp"
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

void check(const heif_error& error) {
  if (error.code == heif_error_Ok) return;
  if (error.code == heif_error_Unsupported_feature || error.code == heif_error_Unsupported_filetype ||
      error.code == heif_error_Decoder_plugin_error)
    throw DecodeError(std::string("is a HEIF file that cannot be decoded here (") + error.message +
                      "); let the phone save it as JPEG");
  throw damaged(error.message);
}

/// Decoded to 8 bits, turned and cropped as the file says: libheif follows the rotation and mirror properties
/// itself. Always by way of R, G, B: pictures of tiles, as most phones make them, come out of libheif so in
/// any case, and it knows every matrix, range and depth that the luma may be coded in.
cv::Mat picture_of(const heif_image_handle* handle, const Wish& wish) {
  const Options options(heif_decoding_options_alloc());
  if (!options) throw std::bad_alloc();
  options->convert_hdr_to_8bit = 1;
  options->strict_decoding = 1;
  const bool alpha = heif_image_handle_has_alpha_channel(handle) != 0;
  heif_image* decoded = nullptr;
  check(heif_decode_image(handle, &decoded, heif_colorspace_RGB,
                          alpha ? heif_chroma_interleaved_RGBA : heif_chroma_interleaved_RGB, options.get()));
  const Image image(decoded);
  const int width = heif_image_get_width(image.get(), heif_channel_interleaved);
  const int height = heif_image_get_height(image.get(), heif_channel_interleaved);
  int stride = 0;
  const std::uint8_t* pixels = heif_image_get_plane_readonly(image.get(), heif_channel_interleaved, &stride);
  if (pixels == nullptr || width <= 0 || height <= 0) throw damaged("no pixels");
  RowTaker rows(width, height, wish.colour, reduction(width, height, wish));
  for (int y = 0; y < height; ++y) rows.take(pixels + static_cast<std::ptrdiff_t>(stride) * y, alpha ? 4 : 3);
  return rows.picture();
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
  check_coded_size(bytes, limits);
  check_density(heif_image_handle_get_width(primary), heif_image_handle_get_height(primary), bytes.size(),
                limits);
  Decoded decoded;
  decoded.is_upright = true;
  decoded.exif = exif_of(primary);
  decoded.pixels = picture_of(primary, wish);
  return decoded;
}

}  // namespace ripplegauge::photo_detail
