// HEIC by libheif, in a child process: its decoder is large, and what a file does to it must end there.
#include <libheif/heif.h>

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <cstdio>
#include <cstring>
#include <memory>
#include <new>
#include <system_error>

#include "child_process.hpp"
#include "decode.hpp"
#include "heif_structure.hpp"
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

/// What the child tells; pixels follow in the same memory at `pixels_begin`.
struct Report {
  static constexpr std::size_t most_exif_bytes = 1 << 20, pixels_begin = 2 << 20;

  char refusal[1000] = "";  ///< what is wrong with the file; empty: it is decoded
  int rows = 0, columns = 0;
  std::size_t exif_bytes = 0;
  char exif[most_exif_bytes];
};
static_assert(sizeof(Report) <= Report::pixels_begin);

/// Decoded to 8 bits, turned and cropped as the file says: libheif follows the rotation and mirror properties
/// itself. Always by way of R, G, B: pictures of tiles, as most phones make them, come out of libheif so in
/// any case, and it knows every matrix, range and depth that the luma may be coded in.
void decode_into(Report& report, std::byte* pixels_there, std::size_t room, const heif_image_handle* handle,
                 const Wish& wish) {
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
  const int factor = reduction(width, height, wish);
  if (RowTaker::room_bytes(width, height, wish.colour, factor) > room)
    throw damaged("more pixels than it says");
  RowTaker rows(width, height, wish.colour, factor, pixels_there);
  for (int y = 0; y < height; ++y) rows.take(pixels + static_cast<std::ptrdiff_t>(stride) * y, alpha ? 4 : 3);
  report.rows = rows.picture().rows;
  report.columns = rows.picture().cols;
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

/// In the child. Limits are not looked at again: what is decoded was checked before.
void fill(Report& report, std::byte* pixels, std::size_t room, std::string_view bytes, const Wish& wish) {
  try {
    const Context context(heif_context_alloc());
    if (!context) throw std::bad_alloc();
    check(heif_context_read_from_memory_without_copy(context.get(), bytes.data(), bytes.size(), nullptr));
    heif_image_handle* primary = nullptr;
    check(heif_context_get_primary_image_handle(context.get(), &primary));
    const Handle handle(primary);
    const std::string exif = exif_of(primary);
    if (exif.size() <= Report::most_exif_bytes) {
      std::memcpy(report.exif, exif.data(), exif.size());
      report.exif_bytes = exif.size();
    }
    decode_into(report, pixels, room, primary, wish);
  } catch (const DecodeError& error) {
    std::snprintf(report.refusal, sizeof report.refusal, "%s", error.what());
  }
}

/// Several times what a picture of this size takes on a slow machine.
ChildLimits limits_for(double pixels) {
  constexpr double megapixels_a_second = 4, bytes_a_pixel = 24, most_clock_to_processor = 20;
  constexpr std::size_t other_bytes = 1u << 30;  // threads' stacks and heaps, reserved rather than used
  ChildLimits limits;
  limits.processor_s = 2 + static_cast<unsigned>(std::ceil(pixels * 1e-6 / megapixels_a_second));
  limits.clock_s = static_cast<unsigned>(most_clock_to_processor * limits.processor_s);
  limits.memory_bytes = other_bytes + static_cast<std::size_t>(bytes_a_pixel * pixels);
  return limits;
}

void refuse_unless_done(ChildEnd end, Report& report) {
  report.refusal[sizeof report.refusal - 1] = '\0';
  switch (end) {
    case ChildEnd::done:
      if (report.refusal[0] != '\0') throw DecodeError(report.refusal);
      break;
    case ChildEnd::out_of_memory:
      throw DecodeError("needs more memory than there is; use a smaller photo");
    case ChildEnd::too_slow:
      throw damaged("decoding it takes far too long");
    case ChildEnd::crashed:
      throw damaged("its decoder broke down over it");
  }
}

}  // namespace

Decoded decode_heif(std::string_view bytes, const Wish& wish, const PhotoLimits& limits) {
  const HeifPicture picture = check_heif(bytes, limits);
  const double pixels = picture.width_px * picture.height_px;
  const std::size_t room = static_cast<std::size_t>(pixels) * (wish.colour ? 3 : 1);
  const SharedMemory shared(Report::pixels_begin + room);
  Report& report = *new (shared.data()) Report;
  std::byte* const there = shared.data() + Report::pixels_begin;
  try {
    refuse_unless_done(run_in_child(limits_for(pixels), [&] { fill(report, there, room, bytes, wish); }),
                       report);
  } catch (const std::system_error& error) {
    throw DecodeError(std::string("cannot be decoded: no process can be started (") + error.what() +
                      "); end other programs or save it as JPEG");
  }
  // What a child that broke down unnoticed has written there may be anything.
  const double told = static_cast<double>(report.rows) * report.columns * (wish.colour ? 3 : 1);
  if (report.rows <= 0 || report.columns <= 0 || told > static_cast<double>(room) ||
      report.exif_bytes > Report::most_exif_bytes)
    throw damaged("its decoder broke down over it");
  Decoded decoded;
  decoded.is_upright = true;
  decoded.exif.assign(report.exif, report.exif_bytes);
  decoded.pixels = cv::Mat(report.rows, report.columns, wish.colour ? CV_8UC3 : CV_8UC1, there).clone();
  return decoded;
}

}  // namespace ripplegauge::photo_detail
