// Pixels as PNG or JPEG, by the ending of a file's name.
#include <png.h>

#include <algorithm>
#include <csetjmp>
#include <cstdio>
#include <cstdlib>
#include <memory>
#include <stdexcept>

// jpeglib.h needs cstdio first.
#include <jpeglib.h>

#include "picture/picture.hpp"
#include "ripplegauge/core/errors.hpp"

namespace ripplegauge {
namespace {

struct JpegErrors : jpeg_error_mgr {
  std::jmp_buf jump;
};

/// What libjpeg holds, freed however the work ends.
struct JpegCompressor : jpeg_compress_struct {
  JpegErrors errors{};
  unsigned char* buffer = nullptr;
  unsigned long size = 0;

  JpegCompressor() : jpeg_compress_struct{} {
    err = jpeg_std_error(&errors);
    errors.error_exit = [](j_common_ptr common) {
      std::longjmp(static_cast<JpegErrors*>(common->err)->jump, 1);
    };
    errors.output_message = [](j_common_ptr) {};
  }
  ~JpegCompressor() {
    jpeg_destroy_compress(this);
    std::free(buffer);
  }
  JpegCompressor(const JpegCompressor&) = delete;
  JpegCompressor& operator=(const JpegCompressor&) = delete;
};

void compress(JpegCompressor& jpeg, const cv::Mat& bgr, int quality) {
  // A jump must not skip destructors: nothing below has one.
  if (setjmp(jpeg.errors.jump) != 0) throw std::runtime_error("encoding a JPEG failed");
  jpeg_create_compress(&jpeg);
  jpeg_mem_dest(&jpeg, &jpeg.buffer, &jpeg.size);
  jpeg.image_width = static_cast<JDIMENSION>(bgr.cols);
  jpeg.image_height = static_cast<JDIMENSION>(bgr.rows);
  jpeg.input_components = 3;
  jpeg.in_color_space = JCS_EXT_BGR;
  jpeg_set_defaults(&jpeg);
  jpeg_set_quality(&jpeg, quality, TRUE);
  // Colour at full resolution: thin coloured lines and text smear otherwise.
  jpeg.comp_info[0].h_samp_factor = jpeg.comp_info[0].v_samp_factor = 1;
  jpeg_start_compress(&jpeg, TRUE);
  while (jpeg.next_scanline < jpeg.image_height) {
    JSAMPROW row = const_cast<JSAMPROW>(bgr.ptr(static_cast<int>(jpeg.next_scanline)));
    jpeg_write_scanlines(&jpeg, &row, 1);
  }
  jpeg_finish_compress(&jpeg);
}

void check_type(const cv::Mat& bgr) {
  if (bgr.type() != CV_8UC3 || bgr.empty())
    throw std::invalid_argument("a picture must be CV_8UC3 and not empty");
}

}  // namespace

std::string encode_png(const cv::Mat& bgr) {
  check_type(bgr);
  png_image image{};
  image.version = PNG_IMAGE_VERSION;
  image.width = static_cast<png_uint_32>(bgr.cols);
  image.height = static_cast<png_uint_32>(bgr.rows);
  image.format = PNG_FORMAT_BGR;
  image.flags = PNG_IMAGE_FLAG_FAST;  // several times quicker for a few per cent of size
  png_alloc_size_t size = PNG_IMAGE_PNG_SIZE_MAX(image);
  std::string bytes(size, '\0');
  const int ok = png_image_write_to_memory(&image, bytes.data(), &size, 0, bgr.data,
                                           static_cast<png_int_32>(bgr.step), nullptr);
  if (ok == 0) throw std::runtime_error(std::string("encoding a PNG failed: ") + image.message);
  bytes.resize(size);
  return bytes;
}

std::string encode_jpeg(const cv::Mat& bgr, int quality) {
  check_type(bgr);
  JpegCompressor jpeg;
  compress(jpeg, bgr, quality);
  return std::string(reinterpret_cast<const char*>(jpeg.buffer), jpeg.size);
}

std::string encode_for_name(const cv::Mat& bgr, const std::filesystem::path& name) {
  std::string ending = name.extension().string();
  std::transform(ending.begin(), ending.end(), ending.begin(),
                 [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; });
  if (ending == ".png") return encode_png(bgr);
  if (ending == ".jpg" || ending == ".jpeg") return encode_jpeg(bgr);
  throw UsageError(name.string() + ": a picture's name must end in .png or .jpg");
}

}  // namespace ripplegauge
