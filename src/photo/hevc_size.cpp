#include "hevc_size.hpp"

#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "decode.hpp"

namespace ripplegauge::photo_detail {
namespace {

using namespace std::string_view_literals;

/// Zero behind the end.
std::uint64_t big_endian(std::string_view bytes, std::size_t at, int count) {
  std::uint64_t value = 0;
  for (int i = 0; i < count; ++i, ++at)
    value = value << 8 | (at < bytes.size() ? static_cast<unsigned char>(bytes[at]) : 0u);
  return value;
}

/// The boxes of type "meta" at a file's outermost level (ISO/IEC 14496-12, 4.2: size, type, 64-bit size if
/// that is 1; 0 is "up to the end").
std::vector<std::string_view> meta_boxes(std::string_view bytes) {
  std::vector<std::string_view> found;
  while (bytes.size() >= 8) {
    std::uint64_t size = big_endian(bytes, 0, 4);
    if (size == 1) size = big_endian(bytes, 8, 8);
    if (size == 0 || size > bytes.size()) size = bytes.size();
    if (size < 8) break;
    if (bytes.substr(4, 4) == "meta") found.push_back(bytes.substr(0, size));
    bytes.remove_prefix(size);
  }
  return found;
}

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
    while (zeros < 32 && bit(at_) == 0) ++zeros, ++at_;
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

constexpr auto sps_header = "\x42\x01"sv;  ///< NAL unit type 33, layer 0, temporal id 0

/// Sequence parameter set (ITU-T H.265, 7.3.2.2.1): its first fields, up to the picture's width and height.
void check_sps(std::string_view nal, const PhotoLimits& limits) {
  constexpr std::size_t profile_bits = 88, level_bits = 8;
  Bits bits(nal.substr(sps_header.size(), 200));
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
  bits.take_ue();                         // its own number
  if (bits.take_ue() == 3) bits.skip(1);  // chroma format, separate planes
  const auto width = static_cast<double>(bits.take_ue()), height = static_cast<double>(bits.take_ue());
  if (width >= 1 && height >= 1) check_size(width, height, limits);
}

/// HEVC configuration (ISO/IEC 14496-15, 8.3.3.1.2) from its first byte: 22 bytes, then arrays of NAL units.
void check_configuration(std::string_view box, const PhotoLimits& limits) {
  std::size_t at = 23;
  for (std::uint64_t arrays = big_endian(box, 22, 1); arrays > 0 && at < box.size(); --arrays) {
    std::uint64_t units = big_endian(box, at + 1, 2);
    at += 3;
    for (; units > 0 && at < box.size(); --units) {
      const std::uint64_t length = big_endian(box, at, 2);
      at += 2;
      if (at < box.size() && box.substr(at).starts_with(sps_header))
        check_sps(box.substr(at, length), limits);
      at += length;
    }
  }
}

/// A decoder also heeds parameter sets among the pixels: four bytes of length, then the unit. Anything that
/// happens to look like one is most likely no set of sizes that mean anything, hence the bound on its length.
void check_stream(std::string_view bytes, const PhotoLimits& limits) {
  constexpr std::uint64_t shortest = 16, longest = 2000;
  for (std::size_t at = bytes.find(sps_header); at != std::string_view::npos;
       at = bytes.find(sps_header, at + 1)) {
    if (at < 4) continue;
    const std::uint64_t length = big_endian(bytes, at - 4, 4);
    if (length >= shortest && length <= longest) check_sps(bytes.substr(at, length), limits);
  }
}

}  // namespace

void check_coded_size(std::string_view heif_bytes, const PhotoLimits& limits) {
  bool hevc = false, other = false;
  for (const std::string_view meta : meta_boxes(heif_bytes)) {
    other = other || meta.find("av01") != std::string_view::npos;
    for (std::size_t at = meta.find("hvcC"); at != std::string_view::npos; at = meta.find("hvcC", at + 1)) {
      hevc = true;
      check_configuration(meta.substr(at + 4), limits);
    }
  }
  if (!hevc || other)
    throw DecodeError("is a HEIF file, but not coded as phones do it (HEVC); save it as JPEG");
  check_stream(heif_bytes, limits);
}

}  // namespace ripplegauge::photo_detail
