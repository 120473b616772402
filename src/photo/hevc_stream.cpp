// What an HEVC stream asks of its decoder, read off its headers without decoding anything.
#include "hevc_stream.hpp"

#include <algorithm>
#include <cstddef>
#include <optional>
#include <string>

#include "big_endian.hpp"
#include "decode.hpp"

namespace ripplegauge::photo_detail {
namespace {

/// The bits of a NAL unit's payload; zeros behind the end.
class Bits {
 public:
  /// Takes out the bytes that keep start codes from appearing (ITU-T H.265, 7.3.1.1: 0, 0, 3).
  explicit Bits(std::string_view nal) {
    int zeros = 0;
    for (const char c : nal) {
      if (zeros >= 2 && c == 3) {
        zeros = 0;
        continue;
      }
      zeros = c == 0 ? zeros + 1 : 0;
      bytes_ += c;
    }
  }
  std::uint32_t take(int count) {
    std::uint32_t value = 0;
    for (int i = 0; i < count; ++i, ++at_) value = value << 1 | bit(at_);
    return value;
  }
  void skip(std::size_t count) { at_ += count; }
  /// Exp-Golomb (ITU-T H.265, 9.2).
  std::uint64_t take_ue() {
    int zeros = 0;
    while (zeros < 32 && bit(at_) == 0) {
      ++zeros;
      ++at_;
    }
    ++at_;
    return (std::uint64_t{1} << zeros) - 1 + take(zeros);
  }

 private:
  std::uint32_t bit(std::size_t at) const {
    return at / 8 < bytes_.size() ? static_cast<unsigned char>(bytes_[at / 8]) >> (7 - at % 8) & 1u : 0u;
  }
  std::string bytes_;
  std::size_t at_ = 0;
};

// NAL unit types (ITU-T H.265, table 7-1).
constexpr int first_random_access_type = 16, last_random_access_type = 21, last_slice_type = 31;
constexpr int sequence_parameter_set = 33;
constexpr std::size_t nal_header_bytes = 2;

int nal_type(std::string_view nal) { return static_cast<unsigned char>(nal[0]) >> 1 & 0x3F; }

/// Sequence parameter set (ITU-T H.265, 7.3.2.2.1): its first fields, up to the window that is shown.
HevcSize size_in(std::string_view nal) {
  constexpr std::size_t profile_bits = 88, level_bits = 8, most_header_bytes = 200;
  Bits bits(nal.substr(nal_header_bytes, most_header_bytes));
  bits.skip(4);  // video parameter set
  const std::uint32_t sub_layers = bits.take(3);
  bits.skip(1 + profile_bits + level_bits);
  std::size_t sub_layer_bits = 0;
  for (std::uint32_t i = 0; i < sub_layers; ++i) {
    if (bits.take(1) != 0) sub_layer_bits += profile_bits;
    if (bits.take(1) != 0) sub_layer_bits += level_bits;
  }
  if (sub_layers > 0) bits.skip(2 * (8 - sub_layers));
  bits.skip(sub_layer_bits);
  bits.take_ue();  // its own number
  const std::uint64_t chroma_format = bits.take_ue();
  if (chroma_format == 3) bits.skip(1);  // separate planes
  HevcSize size;
  size.shown_width = size.coded_width = bits.take_ue();
  size.shown_height = size.coded_height = bits.take_ue();
  if (bits.take(1) != 0) {
    // Table 6-1: edges are told in chroma samples.
    const std::uint64_t unit_x = chroma_format == 1 || chroma_format == 2 ? 2 : 1,
                        unit_y = chroma_format == 1 ? 2 : 1;
    const std::uint64_t left = bits.take_ue(), right = bits.take_ue(), top = bits.take_ue(),
                        bottom = bits.take_ue();
    size.shown_width -= std::min(size.coded_width, unit_x * (left + right));
    size.shown_height -= std::min(size.coded_height, unit_y * (top + bottom));
  }
  return size;
}

}  // namespace

HevcSize hevc_size(std::string_view configuration) {
  // ISO/IEC 14496-15, 8.3.3.1.2: 22 bytes, then arrays of NAL units.
  constexpr std::size_t arrays_begin = 22;
  std::optional<HevcSize> found;
  std::size_t at = arrays_begin + 1;
  for (std::uint64_t arrays = big_endian(configuration, arrays_begin, 1); arrays > 0; --arrays) {
    std::uint64_t units = big_endian(configuration, at + 1, 2);
    at += 3;
    for (; units > 0; --units) {
      const std::uint64_t length = big_endian(configuration, at, 2);
      at += 2;
      if (at + length > configuration.size() || length < nal_header_bytes)
        throw damaged("the decoder's configuration is cut short");
      const std::string_view nal = configuration.substr(at, length);
      at += length;
      if (nal_type(nal) != sequence_parameter_set) continue;
      const HevcSize size = size_in(nal);
      if (found && !(*found == size)) throw damaged("its coded size is told in two ways");
      found = size;
    }
  }
  if (!found) throw damaged("its coded size is not told");
  return *found;
}

void check_hevc_picture(std::string_view bytes, const HevcSize& size) {
  constexpr std::size_t length_bytes = 4;
  int pictures = 0;
  while (!bytes.empty()) {
    const std::uint64_t length = big_endian(bytes, 0, length_bytes);
    if (bytes.size() < length_bytes || length > bytes.size() - length_bytes || length <= nal_header_bytes)
      throw damaged("its pixels are cut short");
    const std::string_view nal = bytes.substr(length_bytes, length);
    bytes.remove_prefix(length_bytes + length);
    const int type = nal_type(nal);
    if (type == sequence_parameter_set && !(size_in(nal) == size))
      throw damaged("its coded size is told in two ways");
    if (type > last_slice_type) continue;
    if (type < first_random_access_type || type > last_random_access_type)
      throw damaged("its pixels lean on another picture");
    // 7.3.6.1: the first bit of a slice says whether a picture begins with it.
    if ((static_cast<unsigned char>(nal[nal_header_bytes]) & 0x80) != 0) ++pictures;
  }
  if (pictures != 1) throw damaged(pictures == 0 ? "it has no pixels" : "it is a film");
}

}  // namespace ripplegauge::photo_detail
