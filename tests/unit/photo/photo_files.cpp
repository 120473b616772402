#include "photo_files.hpp"

#include <libheif/heif.h>
#include <png.h>

#include <cmath>
#include <cstdio>
#include <cstdlib>

// jpeglib.h needs cstdio first.
#include <jpeglib.h>

#include <random>
#include <stdexcept>
#include <vector>

namespace ripplegauge::test {
namespace {

void put(std::string& out, std::uint32_t value, int bytes) {
  for (int i = bytes - 1; i >= 0; --i) out += static_cast<char>(value >> (8 * i));
}

/// One 12-byte entry of an image file directory; `value` is padded to four bytes.
void put_entry(std::string& out, int tag, int type, std::uint32_t count, const std::string& value) {
  put(out, static_cast<std::uint32_t>(tag), 2);
  put(out, static_cast<std::uint32_t>(type), 2);
  put(out, count, 4);
  out += value + std::string(4 - value.size(), '\0');
}

std::string number(std::uint32_t value, int bytes) {
  std::string text;
  put(text, value, bytes);
  return text;
}

void png_to_string(png_structp png, png_bytep data, std::size_t size) {
  static_cast<std::string*>(png_get_io_ptr(png))->append(reinterpret_cast<const char*>(data), size);
}

struct PngWriter {
  std::string out;
  png_structp png = png_create_write_struct(PNG_LIBPNG_VER_STRING, nullptr, nullptr, nullptr);
  png_infop info = png_create_info_struct(png);
  PngWriter() { png_set_write_fn(png, &out, png_to_string, nullptr); }
  ~PngWriter() { png_destroy_write_struct(&png, &info); }

  void write(const cv::Mat& pixels) {
    std::vector<png_bytep> rows;
    for (int y = 0; y < pixels.rows; ++y) rows.push_back(const_cast<png_bytep>(pixels.ptr(y)));
    png_set_rows(png, info, rows.data());
    png_write_png(png, info, pixels.depth() == CV_16U ? PNG_TRANSFORM_SWAP_ENDIAN : PNG_TRANSFORM_PACKING,
                  nullptr);
  }
};

}  // namespace

std::string exif_block(const ExifWish& wish) {
  constexpr int short_type = 3, long_type = 4, text_type = 2;
  const int main_entries = 1 + (wish.orientation ? 1 : 0);
  const int exif_entries = (wish.focal_35mm_mm ? 1 : 0) + (wish.date ? 1 : 0);
  const auto exif_at = static_cast<std::uint32_t>(8 + 2 + 12 * main_entries + 4);
  const auto text_at = static_cast<std::uint32_t>(exif_at + 2 + 12 * static_cast<unsigned>(exif_entries) + 4);
  std::string out("MM\0*\0\0\0\x08", 8);
  put(out, static_cast<std::uint32_t>(main_entries), 2);
  if (wish.orientation)
    put_entry(out, 0x0112, short_type, 1, number(static_cast<std::uint32_t>(*wish.orientation), 2));
  put_entry(out, 0x8769, long_type, 1, number(exif_at, 4));
  put(out, 0, 4);
  put(out, static_cast<std::uint32_t>(exif_entries), 2);
  if (wish.date)
    put_entry(out, 0x9003, text_type, static_cast<std::uint32_t>(wish.date->size() + 1), number(text_at, 4));
  if (wish.focal_35mm_mm)
    put_entry(out, 0xA405, short_type, 1, number(static_cast<std::uint32_t>(*wish.focal_35mm_mm), 2));
  put(out, 0, 4);
  if (wish.date) out += *wish.date + '\0';
  return out;
}

std::string jpeg_bytes(const cv::Mat& pixels, const JpegWish& wish) {
  jpeg_compress_struct encoder{};
  jpeg_error_mgr errors{};
  encoder.err = jpeg_std_error(&errors);
  jpeg_create_compress(&encoder);
  unsigned char* buffer = nullptr;
  unsigned long size = 0;
  jpeg_mem_dest(&encoder, &buffer, &size);
  encoder.image_width = static_cast<JDIMENSION>(pixels.cols);
  encoder.image_height = static_cast<JDIMENSION>(pixels.rows);
  encoder.input_components = pixels.channels();
  encoder.in_color_space =
      pixels.channels() == 1 ? JCS_GRAYSCALE : (pixels.channels() == 3 ? JCS_RGB : JCS_CMYK);
  jpeg_set_defaults(&encoder);
  if (pixels.channels() == 3) jpeg_set_colorspace(&encoder, wish.coded_as_rgb ? JCS_RGB : JCS_YCbCr);
  jpeg_set_quality(&encoder, wish.quality, TRUE);
  if (wish.progressive) jpeg_simple_progression(&encoder);
  std::vector<jpeg_scan_info> scans;
  if (wish.scan_for_each_coefficient) {
    scans.push_back({1, {0}, 0, 0, 0, 0});
    for (int bit_above : {0, 1})
      for (int k = 1; k < 64; ++k) scans.push_back({1, {0}, k, k, bit_above, 1 - bit_above});
    encoder.scan_info = scans.data();
    encoder.num_scans = static_cast<int>(scans.size());
  }
  jpeg_start_compress(&encoder, TRUE);
  if (!wish.exif.empty()) {
    const std::string block = std::string("Exif\0\0", 6) + wish.exif;
    jpeg_write_marker(&encoder, JPEG_APP0 + 1, reinterpret_cast<const JOCTET*>(block.data()),
                      static_cast<unsigned>(block.size()));
  }
  while (encoder.next_scanline < encoder.image_height) {
    JSAMPROW row = const_cast<JSAMPROW>(pixels.ptr(static_cast<int>(encoder.next_scanline)));
    jpeg_write_scanlines(&encoder, &row, 1);
  }
  jpeg_finish_compress(&encoder);
  jpeg_destroy_compress(&encoder);
  const std::string bytes(reinterpret_cast<char*>(buffer), size);
  std::free(buffer);
  return bytes;
}

std::string png_bytes(const cv::Mat& pixels, const PngWish& wish) {
  constexpr int colour_types[] = {PNG_COLOR_TYPE_GRAY, PNG_COLOR_TYPE_GRAY_ALPHA, PNG_COLOR_TYPE_RGB,
                                  PNG_COLOR_TYPE_RGB_ALPHA};
  PngWriter writer;
  png_set_IHDR(writer.png, writer.info, static_cast<png_uint_32>(pixels.cols),
               static_cast<png_uint_32>(pixels.rows), pixels.depth() == CV_16U ? 16 : 8,
               colour_types[pixels.channels() - 1],
               wish.interlaced ? PNG_INTERLACE_ADAM7 : PNG_INTERLACE_NONE, PNG_COMPRESSION_TYPE_DEFAULT,
               PNG_FILTER_TYPE_DEFAULT);
  std::string exif = wish.exif;
  if (!exif.empty())
    png_set_eXIf_1(writer.png, writer.info, static_cast<png_uint_32>(exif.size()),
                   reinterpret_cast<png_bytep>(exif.data()));
  writer.write(pixels);
  return writer.out;
}

std::string palette_png_bytes(const cv::Mat& indices, const cv::Mat& colours, int bits) {
  PngWriter writer;
  png_set_IHDR(writer.png, writer.info, static_cast<png_uint_32>(indices.cols),
               static_cast<png_uint_32>(indices.rows), bits, PNG_COLOR_TYPE_PALETTE, PNG_INTERLACE_NONE,
               PNG_COMPRESSION_TYPE_DEFAULT, PNG_FILTER_TYPE_DEFAULT);
  std::vector<png_color> palette;
  for (int i = 0; i < colours.cols; ++i) {
    const auto& c = colours.at<cv::Vec3b>(i);
    palette.push_back({c[0], c[1], c[2]});
  }
  png_set_PLTE(writer.png, writer.info, palette.data(), static_cast<int>(palette.size()));
  writer.write(indices);
  return writer.out;
}

std::string heic_bytes(const cv::Mat& grey, const HeicWish& wish) {
  if (heif_have_encoder_for_format(heif_compression_HEVC) == 0) return {};
  const auto check = [](const heif_error& error) {
    if (error.code != heif_error_Ok) throw std::runtime_error(error.message);
  };
  heif_image* image = nullptr;
  check(heif_image_create(grey.cols, grey.rows, heif_colorspace_YCbCr, heif_chroma_420, &image));
  const auto fill = [&](heif_channel channel, const cv::Mat& pixels) {
    cv::Mat coded;
    pixels.convertTo(coded, wish.bits > 8 ? CV_16U : CV_8U, 1 << (wish.bits - 8));
    check(heif_image_add_plane(image, channel, coded.cols, coded.rows, wish.bits));
    int stride = 0;
    std::uint8_t* plane = heif_image_get_plane(image, channel, &stride);
    for (int y = 0; y < coded.rows; ++y)
      std::copy(coded.ptr(y), coded.ptr(y) + coded.elemSize() * static_cast<std::size_t>(coded.cols),
                plane + static_cast<std::ptrdiff_t>(stride) * y);
  };
  const cv::Mat neutral((grey.rows + 1) / 2, (grey.cols + 1) / 2, CV_8UC1, cv::Scalar(128));
  fill(heif_channel_Y, grey);
  fill(heif_channel_Cb, neutral);
  fill(heif_channel_Cr, neutral);

  heif_context* context = heif_context_alloc();
  heif_encoder* encoder = nullptr;
  check(heif_context_get_encoder_for_format(context, heif_compression_HEVC, &encoder));
  check(heif_encoder_set_lossy_quality(encoder, 90));
  heif_encoding_options* options = heif_encoding_options_alloc();
  options->image_orientation = static_cast<heif_orientation>(wish.orientation);
  heif_image_handle* handle = nullptr;
  check(heif_context_encode_image(context, image, encoder, options, &handle));
  if (!wish.exif.empty())
    check(heif_context_add_exif_metadata(context, handle, wish.exif.data(),
                                         static_cast<int>(wish.exif.size())));
  std::string bytes;
  heif_writer writer{1, [](heif_context*, const void* data, std::size_t size, void* out) {
                       static_cast<std::string*>(out)->append(static_cast<const char*>(data), size);
                       return heif_error{heif_error_Ok, heif_suberror_Unspecified, ""};
                     }};
  check(heif_context_write(context, &writer, &bytes));
  heif_image_handle_release(handle);
  heif_encoding_options_free(options);
  heif_encoder_release(encoder);
  heif_context_free(context);
  heif_image_release(image);
  return bytes;
}

cv::Mat textured_picture(int width, int height, unsigned seed) {
  std::mt19937 random(seed);
  cv::Mat picture(height, width, CV_8UC1);
  for (int y = 0; y < height; ++y)
    for (int x = 0; x < width; ++x)
      picture.at<std::uint8_t>(y, x) = static_cast<std::uint8_t>(
          128 + 80 * std::sin(x * 0.31) * std::cos(y * 0.23) + static_cast<double>(random() % 31) - 15);
  return picture;
}

}  // namespace ripplegauge::test
