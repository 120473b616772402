#include "hevc_size.hpp"

#include <algorithm>
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

struct Box {
  std::string_view type, body;
};

/// The boxes in a row (ISO/IEC 14496-12, 4.2: size, type, 64-bit size if that is 1; 0 is "up to the end").
std::vector<Box> boxes_in(std::string_view bytes) {
  std::vector<Box> found;
  while (bytes.size() >= 8) {
    std::uint64_t size = big_endian(bytes, 0, 4), head = 8;
    if (size == 1) size = big_endian(bytes, 8, 8), head = 16;
    if (size == 0 || size > bytes.size()) size = bytes.size();
    if (size < head) break;
    found.push_back({bytes.substr(4, 4), bytes.substr(head, size - head)});
    bytes.remove_prefix(size);
  }
  return found;
}

std::vector<std::string_view> meta_boxes(std::string_view bytes) {
  std::vector<std::string_view> found;
  for (const Box& box : boxes_in(bytes))
    if (box.type == "meta") found.push_back(box.body);
  return found;
}

/// Reads numbers one after the other.
class Numbers {
 public:
  explicit Numbers(std::string_view bytes) : bytes_(bytes) {}
  std::uint64_t take(int count) {
    const std::uint64_t value = big_endian(bytes_, at_, count);
    at_ += static_cast<std::size_t>(count);
    return value;
  }
  bool ended() const { return at_ > bytes_.size(); }

 private:
  std::string_view bytes_;
  std::size_t at_ = 0;
};

/// Numbers of the items of a type, of "iinf" (ISO/IEC 14496-12, 8.11.6).
std::vector<std::uint64_t> items_of_type(std::string_view iinf, std::string_view type) {
  std::vector<std::uint64_t> items;
  const std::size_t head = 4 + (big_endian(iinf, 0, 1) == 0 ? 2 : 4);
  for (const Box& box : boxes_in(iinf.substr(std::min(head, iinf.size())))) {
    const std::uint64_t version = big_endian(box.body, 0, 1);
    const int wide = version == 2 ? 2 : 4;
    if (box.type == "infe" && version >= 2 && box.body.size() >= static_cast<std::size_t>(wide) + 10 &&
        box.body.substr(static_cast<std::size_t>(wide) + 6, 4) == type)
      items.push_back(big_endian(box.body, 4, wide));
  }
  return items;
}

/// Where an item's bytes begin, of "iloc" (ISO/IEC 14496-12, 8.11.3): those of the file, or of "idat".
std::string_view item_bytes(std::string_view iloc, std::uint64_t item, std::string_view file,
                            std::string_view idat) {
  Numbers n(iloc);
  const std::uint64_t version = n.take(1);
  n.take(3);
  const std::uint64_t sizes = n.take(2);
  const auto size = [&](int nibble) { return static_cast<int>(sizes >> (12 - 4 * nibble) & 0xF); };
  for (std::uint64_t left = n.take(version < 2 ? 2 : 4); left > 0 && !n.ended(); --left) {
    const std::uint64_t id = n.take(version < 2 ? 2 : 4);
    const std::uint64_t method = version > 0 ? n.take(2) & 0xF : 0;
    n.take(2);
    const std::uint64_t base = n.take(size(2));
    for (std::uint64_t extents = n.take(2); extents > 0 && !n.ended(); --extents) {
      if (version > 0) n.take(size(3));
      const std::uint64_t offset = n.take(size(0));
      n.take(size(1));
      const std::string_view from = method == 1 ? idat : file;
      if (id == item && base + offset < from.size()) return from.substr(base + offset);
    }
  }
  return {};
}

/// A picture of tiles tells its size in its own bytes, too (ISO/IEC 23008-12, 6.6.2.3.2), and that is what is
/// filled.
void check_grids(std::string_view meta, std::string_view file, const PhotoLimits& limits) {
  constexpr std::size_t version_and_flags = 4;
  std::string_view iinf, iloc, idat;
  for (const Box& box : boxes_in(meta.substr(std::min(version_and_flags, meta.size())))) {
    if (box.type == "iinf") iinf = box.body;
    if (box.type == "iloc") iloc = box.body;
    if (box.type == "idat") idat = box.body;
  }
  if (!items_of_type(iinf, "iovl").empty())
    throw DecodeError(
        "is a HEIF file that lays pictures over each other, which photos do not; save it as JPEG");
  for (const std::uint64_t item : items_of_type(iinf, "grid")) {
    const std::string_view grid = item_bytes(iloc, item, file, idat);
    if (grid.size() < 8) throw damaged("its picture of tiles has no size");
    const int wide = (big_endian(grid, 1, 1) & 1) != 0 ? 4 : 2;
    const auto width = static_cast<double>(big_endian(grid, 4, wide)),
               height = static_cast<double>(big_endian(grid, 4 + static_cast<std::size_t>(wide), wide));
    check_size(width, height, limits);
    check_density(width, height, file.size(), limits);
  }
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
void check_sps(std::string_view nal, std::size_t file_bytes, const PhotoLimits& limits) {
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
  if (!(width >= 1 && height >= 1)) return;
  check_size(width, height, limits);
  check_density(width, height, file_bytes, limits);
}

/// HEVC configuration (ISO/IEC 14496-15, 8.3.3.1.2) from its first byte: 22 bytes, then arrays of NAL units.
void check_configuration(std::string_view box, std::size_t file_bytes, const PhotoLimits& limits) {
  std::size_t at = 23;
  for (std::uint64_t arrays = big_endian(box, 22, 1); arrays > 0 && at < box.size(); --arrays) {
    std::uint64_t units = big_endian(box, at + 1, 2);
    at += 3;
    for (; units > 0 && at < box.size(); --units) {
      const std::uint64_t length = big_endian(box, at, 2);
      at += 2;
      if (at < box.size() && box.substr(at).starts_with(sps_header))
        check_sps(box.substr(at, length), file_bytes, limits);
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
    if (length >= shortest && length <= longest) check_sps(bytes.substr(at, length), bytes.size(), limits);
  }
}

}  // namespace

void check_coded_size(std::string_view heif_bytes, const PhotoLimits& limits) {
  bool hevc = false, other = false;
  for (const std::string_view meta : meta_boxes(heif_bytes)) {
    check_grids(meta, heif_bytes, limits);
    other = other || meta.find("av01") != std::string_view::npos;
    for (std::size_t at = meta.find("hvcC"); at != std::string_view::npos; at = meta.find("hvcC", at + 1)) {
      hevc = true;
      check_configuration(meta.substr(at + 4), heif_bytes.size(), limits);
    }
  }
  if (!hevc || other)
    throw DecodeError("is a HEIF file, but not coded as phones do it (HEVC); save it as JPEG");
  check_stream(heif_bytes, limits);
}

}  // namespace ripplegauge::photo_detail
