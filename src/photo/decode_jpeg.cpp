// JPEG by libjpeg, which goes on after damage that it sees and does not see all: what makes a photo another
// photo is refused here.
#include <algorithm>
#include <csetjmp>
#include <cstdio>
#include <cstring>

// jpeglib.h needs the two above first.
#include <jerror.h>
#include <jpeglib.h>

#include "big_endian.hpp"
#include "brightness_step.hpp"
#include "core/parallel_for.hpp"
#include "decode.hpp"
#include "rows.hpp"

namespace ripplegauge::photo_detail {
namespace {

/// libjpeg's way out is a call that must not return: it jumps, since an exception may not cross C code that
/// was built without unwind tables.
struct JpegErrors : jpeg_error_mgr {
  std::jmp_buf jump;
  char says[JMSG_LENGTH_MAX] = "";
};

JpegErrors& errors_of(j_common_ptr decoder) { return *static_cast<JpegErrors*>(decoder->err); }

[[noreturn]] void on_error(j_common_ptr decoder) {
  JpegErrors& errors = errors_of(decoder);
  errors.format_message(decoder, errors.says);
  std::longjmp(errors.jump, 1);
}

/// Whether the `count` bytes that were passed over before the marker that was just read are zeros, with which
/// some cameras fill up. The photo is in memory as a whole.
bool were_zeros(const jpeg_decompress_struct& decoder, int count) {
  constexpr std::size_t marker_bytes = 2;
  const JOCTET* const end = decoder.src->next_input_byte - marker_bytes;
  return std::all_of(end - count, end, [](JOCTET byte) { return byte == 0; });
}

/// Warnings after which libjpeg carries on with invented pixels. A handful of stray bytes between the
/// segments of the header is a harmless habit of some encoders; behind pixels they are what is left when the
/// pixels went out of step.
bool pixels_are_lost(const jpeg_decompress_struct& decoder) {
  constexpr int harmless_stray_bytes = 16;
  const jpeg_error_mgr& errors = *decoder.err;
  switch (errors.msg_code) {
    case JWRN_HIT_MARKER:
    case JWRN_JPEG_EOF:
    case JWRN_HUFF_BAD_CODE:
    case JWRN_MUST_RESYNC:
    case JWRN_BOGUS_PROGRESSION:
      return true;
    case JWRN_EXTRANEOUS_DATA: {
      const int strays = errors.msg_parm.i[0];
      if (strays > harmless_stray_bytes) return true;
      return decoder.input_scan_number > 0 && !were_zeros(decoder, strays);
    }
    default:
      return false;
  }
}

void on_message(j_common_ptr decoder, int level) {
  if (level < 0 && pixels_are_lost(*reinterpret_cast<j_decompress_ptr>(decoder))) on_error(decoder);
}

/// Every scan of a progressive file is a pass over the whole picture; encoders make about ten, and a small
/// hostile file can ask for thousands.
void on_progress(j_common_ptr decoder) {
  constexpr int max_scans = 100;
  if (decoder->is_decompressor &&
      reinterpret_cast<j_decompress_ptr>(decoder)->input_scan_number > max_scans) {
    std::snprintf(errors_of(decoder).says, JMSG_LENGTH_MAX, "more than %d scans", max_scans);
    std::longjmp(errors_of(decoder).jump, 1);
  }
}

class JpegDecoder {
 public:
  explicit JpegDecoder(std::string_view bytes) {
    decoder_.err = jpeg_std_error(&errors_);
    errors_.error_exit = on_error;
    errors_.emit_message = on_message;
    errors_.output_message = [](j_common_ptr) {};
    progress_.progress_monitor = on_progress;
    guarded([&] {
      jpeg_create_decompress(&decoder_);
      decoder_.progress = &progress_;
      jpeg_mem_src(&decoder_, reinterpret_cast<const unsigned char*>(bytes.data()), bytes.size());
      jpeg_read_header(&decoder_, TRUE);
    });
    // Taken now: what is known of the components is gone once the picture is finished.
    const int luma_table = decoder_.comp_info[0].quant_tbl_no;
    if (luma_table < 0 || luma_table >= NUM_QUANT_TBLS) return;
    if (const JQUANT_TBL* table = decoder_.quant_tbl_ptrs[luma_table])
      mean_step_grey_ = table->quantval[0] / 8.0;
  }
  JpegDecoder(const JpegDecoder&) = delete;  // libjpeg holds pointers into it
  JpegDecoder& operator=(const JpegDecoder&) = delete;

  int width() const { return static_cast<int>(decoder_.image_width); }
  int height() const { return static_cast<int>(decoder_.image_height); }

  void refuse_what_phones_never_make() const {
    if (decoder_.jpeg_color_space == JCS_CMYK || decoder_.jpeg_color_space == JCS_YCCK)
      throw DecodeError("is a JPEG in print colours (CMYK); save it as an ordinary RGB JPEG");
    if (decoder_.arith_code)
      throw DecodeError("is a JPEG with arithmetic coding; save it as an ordinary JPEG");
  }

  /// What is coded together: a block, or with reduced colour several.
  cv::Size unit_px() const {
    if (decoder_.num_components == 1) return {DCTSIZE, DCTSIZE};
    return {DCTSIZE * decoder_.max_h_samp_factor, DCTSIZE * decoder_.max_v_samp_factor};
  }

  /// In which the mean brightness of a block is told: its coefficient is eight times that (T.81, A.3.3).
  double mean_step_grey() const { return mean_step_grey_; }

  /// The rows from `first` up to `end` of the grey picture, into `picture`, which has all rows.
  void grey(cv::Mat& picture, int first, int end) {
    decoder_.out_color_space = JCS_GRAYSCALE;
    guarded([&] {
      jpeg_start_decompress(&decoder_);
      skip(first);
      while (decoder_.output_scanline < static_cast<JDIMENSION>(end)) {
        JSAMPROW row = picture.ptr(static_cast<int>(decoder_.output_scanline));
        jpeg_read_scanlines(&decoder_, &row, 1);
      }
      if (end == height()) jpeg_finish_decompress(&decoder_);
    });
  }

  /// The row from which on a second decoder should work, which must read what stands before but need not make
  /// a picture of it: then both are done at about the same time. The height where there is nothing to gain.
  int second_part() {
    constexpr int small_px = 500'000;
    constexpr double share = 0.7;
    if (!can_skip || width() * height() < small_px || jpeg_has_multiple_scans(&decoder_)) return height();
    const int block_row = DCTSIZE * decoder_.max_v_samp_factor;
    return static_cast<int>(share * height()) / block_row * block_row;
  }

  /// Reduced by `factor`: as much of it as can be inside the inverse DCT (1/2, 1/4, 1/8), which is far
  /// quicker, the rest by averaging.
  cv::Mat colour(int factor) {
    int by_dct = 8;
    while (factor % by_dct != 0) by_dct /= 2;
    decoder_.out_color_space = JCS_RGB;
    decoder_.scale_num = 1;
    decoder_.scale_denom = static_cast<unsigned>(by_dct);
    guarded([&] { jpeg_start_decompress(&decoder_); });
    RowTaker rows(static_cast<int>(decoder_.output_width), static_cast<int>(decoder_.output_height), true,
                  factor / by_dct);
    std::vector<JSAMPLE> buffer(static_cast<std::size_t>(decoder_.output_width) * 3);
    guarded([&] {
      JSAMPROW row = buffer.data();
      while (decoder_.output_scanline < decoder_.output_height) {
        jpeg_read_scanlines(&decoder_, &row, 1);
        rows.take(row, 3);
      }
      jpeg_finish_decompress(&decoder_);
    });
    return rows.picture();
  }

 private:
#ifdef LIBJPEG_TURBO_VERSION
  static constexpr bool can_skip = true;
  void skip(int rows) { jpeg_skip_scanlines(&decoder_, static_cast<JDIMENSION>(rows)); }
#else
  static constexpr bool can_skip = false;
  void skip(int) {}
#endif

  /// Runs calls into libjpeg. A body owns nothing that has a destructor: a jump would skip it.
  template <typename Body>
  void guarded(const Body& body) {
    if (setjmp(errors_.jump) != 0) throw damaged(errors_.says);
    body();
  }

  /// Frees what libjpeg allocated, also when the constructor above ends in an exception.
  struct Decompressor : jpeg_decompress_struct {
    Decompressor() : jpeg_decompress_struct{} {}
    ~Decompressor() { jpeg_destroy_decompress(this); }
  };

  JpegErrors errors_{};
  jpeg_progress_mgr progress_{};
  double mean_step_grey_ = 0;
  Decompressor decoder_;
};

/// Both decoders read the file in its order and stop at the first fault: whichever says so says the same.
cv::Mat grey_picture(JpegDecoder& jpeg, std::string_view bytes, int threads) {
  cv::Mat picture(jpeg.height(), jpeg.width(), CV_8UC1);
  const int split = threads > 1 ? jpeg.second_part() : jpeg.height();
  if (split == jpeg.height())
    jpeg.grey(picture, 0, split);
  else
    parallel_for(2, 2, [&](std::size_t i) {
      if (i == 0)
        jpeg.grey(picture, 0, split);
      else
        JpegDecoder(bytes).grey(picture, split, picture.rows);
    });
  return picture;
}

void refuse_step(const cv::Mat& grey, const JpegDecoder& jpeg) {
  if (const auto row = brightness_step(grey, jpeg.unit_px(), jpeg.mean_step_grey()))
    throw damaged("its brightness jumps along row " + std::to_string(*row));
}

}  // namespace

// libjpeg would keep all segments of that kind in a list that it walks through for each: a hundred thousand
// of them take minutes.
std::string exif_of_jpeg(std::string_view bytes) {
  using namespace std::string_view_literals;
  constexpr auto label = "Exif\0\0"sv;
  constexpr int most_segments = 10'000;  // long colour profiles and notes have a few hundred
  constexpr unsigned char exif_segment = 0xE1, start_of_scan = 0xDA, end_of_image = 0xD9;
  std::size_t at = 2;
  for (int segments = 0; at + 4 <= bytes.size(); ++segments) {
    if (segments > most_segments) throw damaged("it has thousands of parts before its pixels");
    at = bytes.find('\xFF', at);
    const std::size_t code = bytes.find_first_not_of('\xFF', at);
    if (code == std::string_view::npos) return {};
    at = code + 1;
    const auto marker = static_cast<unsigned char>(bytes[code]);
    if (marker == start_of_scan || marker == end_of_image) return {};
    if (marker <= 0x01 || (marker >= 0xD0 && marker <= 0xD8)) continue;  // these have no length
    const std::size_t length = big_endian(bytes, at, 2);
    if (length < 2 || length > bytes.size() - at) return {};
    const std::string_view segment = bytes.substr(at + 2, length - 2);
    if (marker == exif_segment && segment.starts_with(label))
      return std::string(segment.substr(label.size()));
    at += length;
  }
  return {};
}

Decoded decode_jpeg(std::string_view bytes, const Wish& wish, const PhotoLimits& limits) {
  Decoded decoded;
  decoded.exif = exif_of_jpeg(bytes);
  JpegDecoder jpeg(bytes);
  check_size(jpeg.width(), jpeg.height(), limits);
  check_density(jpeg.width(), jpeg.height(), bytes.size(), limits);
  jpeg.refuse_what_phones_never_make();
  decoded.pixels = wish.colour ? jpeg.colour(reduction(jpeg.width(), jpeg.height(), wish))
                               : grey_picture(jpeg, bytes, wish.threads);
  if (!wish.colour) refuse_step(decoded.pixels, jpeg);
  return decoded;
}

}  // namespace ripplegauge::photo_detail
