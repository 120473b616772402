// PNG by libpng, row by row. Chunk lengths are checked before libpng believes them.
#include <png.h>

#include <csetjmp>
#include <cstdio>
#include <cstring>
#include <new>
#include <vector>

#include "decode.hpp"
#include "rows.hpp"

namespace ripplegauge::photo_detail {
namespace {

/// libpng believes the length that a chunk promises and allocates it before it reads (its own limit does not
/// hold for EXIF), so a file of a few bytes could ask for 2 GB.
void check_chunk_lengths(std::string_view bytes) {
  constexpr std::size_t signature = 8, around_data = 12;  // length, type, checksum
  for (std::size_t at = signature; bytes.size() - at >= around_data;) {
    std::size_t length = 0;
    for (std::size_t i = 0; i < 4; ++i) length = length << 8 | static_cast<unsigned char>(bytes[at + i]);
    if (length > bytes.size() - at - around_data) throw damaged("a part is longer than the file");
    if (bytes.substr(at + 4, 4) == "IEND") return;
    at += length + around_data;
  }
}

class PngDecoder {
 public:
  explicit PngDecoder(std::string_view bytes) : rest_(bytes) {
    png_set_error_fn(png_, this, on_error, [](png_structp, png_const_charp) {});
    guarded([&] {
      png_set_read_fn(png_, this, on_read);
      // Sizes are checked by check_size; libpng's own limit of a million a side would only word it worse.
      // Text and colour profiles are not needed, and compressed ones can blow up.
      png_set_user_limits(png_, 0x7FFFFFFF, 0x7FFFFFFF);
      png_set_chunk_malloc_max(png_, 8u << 20);
      png_set_keep_unknown_chunks(png_, PNG_HANDLE_CHUNK_NEVER, unwanted_chunks, number_of_unwanted_chunks);
      png_read_info(png_, info_);
    });
  }
  PngDecoder(const PngDecoder&) = delete;  // libpng holds pointers into it
  PngDecoder& operator=(const PngDecoder&) = delete;

  int width() const { return static_cast<int>(png_get_image_width(png_, info_)); }
  int height() const { return static_cast<int>(png_get_image_height(png_, info_)); }

  cv::Mat picture(bool colour, int factor) {
    int passes = 1;
    guarded([&] {
      png_set_expand(png_);
      png_set_scale_16(png_);
      passes = png_set_interlace_handling(png_);
      png_read_update_info(png_, info_);
    });
    const int channels = png_get_channels(png_, info_);
    const std::size_t row_bytes = png_get_rowbytes(png_, info_);
    RowTaker rows(width(), height(), colour, factor);
    if (passes == 1) {
      std::vector<png_byte> row(row_bytes);
      guarded([&] {
        for (int y = 0; y < height(); ++y) {
          png_read_row(png_, row.data(), nullptr);
          rows.take(row.data(), channels);
        }
        png_read_end(png_, info_);
      });
    } else {
      // The passes of an interlaced file complete all rows together at the very end.
      std::vector<png_byte> whole(row_bytes * static_cast<std::size_t>(height()));
      guarded([&] {
        for (int pass = 0; pass < passes; ++pass)
          for (int y = 0; y < height(); ++y)
            png_read_row(png_, whole.data() + row_bytes * static_cast<std::size_t>(y), nullptr);
        png_read_end(png_, info_);
      });
      for (int y = 0; y < height(); ++y)
        rows.take(whole.data() + row_bytes * static_cast<std::size_t>(y), channels);
    }
    return rows.picture();
  }

  /// After picture(): the chunk may stand behind the pixels.
  std::string exif() const {
    png_uint_32 size = 0;
    png_bytep block = nullptr;
    if (png_get_eXIf_1(png_, info_, &size, &block) == 0 || block == nullptr) return {};
    return std::string(reinterpret_cast<const char*>(block), size);
  }

 private:
  [[noreturn]] static void on_error(png_structp png, png_const_charp says) {
    auto& self = *static_cast<PngDecoder*>(png_get_error_ptr(png));
    std::snprintf(self.says_, sizeof self.says_, "%s", says);
    std::longjmp(self.jump_, 1);
  }

  static void on_read(png_structp png, png_bytep to, std::size_t count) {
    auto& self = *static_cast<PngDecoder*>(png_get_io_ptr(png));
    if (count > self.rest_.size()) png_error(png, "premature end of PNG file");
    std::memcpy(to, self.rest_.data(), count);
    self.rest_.remove_prefix(count);
  }

  /// Runs calls into libpng. A body owns nothing that has a destructor: a jump would skip it.
  template <typename Body>
  void guarded(const Body& body) {
    if (setjmp(jump_) != 0) throw damaged(says_);
    body();
  }

  static constexpr int number_of_unwanted_chunks = 4;
  static constexpr png_byte unwanted_chunks[] = "iCCP\0tEXt\0zTXt\0iTXt";

  /// Frees what libpng allocated, also when the constructor above ends in an exception.
  struct Structs {
    png_structp png = png_create_read_struct(PNG_LIBPNG_VER_STRING, nullptr, nullptr, nullptr);
    png_infop info = png != nullptr ? png_create_info_struct(png) : nullptr;
    Structs() {
      if (info == nullptr) {
        png_destroy_read_struct(&png, nullptr, nullptr);
        throw std::bad_alloc();
      }
    }
    ~Structs() { png_destroy_read_struct(&png, &info, nullptr); }
  };

  std::string_view rest_;
  Structs structs_;
  png_structp png_ = structs_.png;
  png_infop info_ = structs_.info;
  std::jmp_buf jump_;
  char says_[200] = "";
};

}  // namespace

Decoded decode_png(std::string_view bytes, const Wish& wish, const PhotoLimits& limits) {
  check_chunk_lengths(bytes);
  PngDecoder png(bytes);
  check_size(png.width(), png.height(), limits);
  check_density(png.width(), png.height(), bytes.size(), limits);
  Decoded decoded;
  decoded.pixels = png.picture(wish.colour, reduction(png.width(), png.height(), wish));
  decoded.exif = png.exif();
  return decoded;
}

}  // namespace ripplegauge::photo_detail
