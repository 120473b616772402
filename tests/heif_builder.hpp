// HEIF files put together box by box, right or wrong (ISO/IEC 14496-12, ISO/IEC 23008-12).
#pragma once

#include <cstdint>
#include <string>
#include <vector>

namespace ripplegauge::test {

inline std::string big_endian_bytes(std::uint64_t value, int count) {
  std::string bytes;
  for (int i = count; i-- > 0;) bytes += static_cast<char>(value >> (8 * i) & 0xFF);
  return bytes;
}

inline std::string heif_box(const std::string& type, const std::string& body) {
  return big_endian_bytes(body.size() + 8, 4) + type + body;
}

inline std::string heif_full_box(const std::string& type, int version, const std::string& body) {
  return heif_box(type,
                  big_endian_bytes(static_cast<std::uint64_t>(version), 1) + std::string(3, '\0') + body);
}

struct HeifItem {
  std::string type;  ///< "hvc1", "grid", ...
  std::string bytes;
  bool bytes_in_idat = false;
  std::vector<int> properties;  ///< from 1
};

struct HeifReference {
  std::string type;  ///< "dimg", ...
  int from = 0;
  std::vector<int> to;
};

/// Items are numbered from 1.
struct HeifParts {
  int primary = 1;
  std::vector<HeifItem> items;
  std::vector<std::string> properties;  ///< whole boxes
  std::vector<HeifReference> references;
};

inline std::string heif_size_box(std::uint64_t width_px, std::uint64_t height_px) {
  return heif_full_box("ispe", 0, big_endian_bytes(width_px, 4) + big_endian_bytes(height_px, 4));
}

/// The bytes of an item "grid".
inline std::string heif_grid(int rows, int columns, std::uint64_t width_px, std::uint64_t height_px) {
  return std::string("\0\1", 2) + static_cast<char>(rows - 1) + static_cast<char>(columns - 1) +
         big_endian_bytes(width_px, 4) + big_endian_bytes(height_px, 4);
}

inline std::string heif_file(const HeifParts& parts) {
  const auto u16 = [](std::size_t value) { return big_endian_bytes(value, 2); };
  const auto u32 = [](std::size_t value) { return big_endian_bytes(value, 4); };
  std::string infe, ipma, iref, idat, mdat;
  for (std::size_t i = 0; i < parts.items.size(); ++i) {
    const HeifItem& item = parts.items[i];
    infe += heif_full_box("infe", 2, u16(i + 1) + u16(0) + item.type + std::string(1, '\0'));
    ipma += u16(i + 1) + big_endian_bytes(item.properties.size(), 1);
    for (const int property : item.properties) ipma += static_cast<char>(property | 0x80);
  }
  for (const HeifReference& reference : parts.references) {
    std::string body = u16(static_cast<std::size_t>(reference.from)) + u16(reference.to.size());
    for (const int to : reference.to) body += u16(static_cast<std::size_t>(to));
    iref += heif_box(reference.type, body);
  }
  std::string properties;
  for (const std::string& property : parts.properties) properties += property;

  // The places in the file are known once the table of contents, which tells them, is as long as it will be.
  const auto meta = [&](std::size_t mdat_begin) {
    std::string iloc = "\x44" + std::string(1, '\0') + u16(parts.items.size());
    idat.clear();
    mdat.clear();
    for (std::size_t i = 0; i < parts.items.size(); ++i) {
      const HeifItem& item = parts.items[i];
      std::string& place = item.bytes_in_idat ? idat : mdat;
      iloc += u16(i + 1) + u16(item.bytes_in_idat ? 1 : 0) + u16(0) + u16(1) +
              u32(place.size() + (item.bytes_in_idat ? 0 : mdat_begin)) + u32(item.bytes.size());
      place += item.bytes;
    }
    return heif_full_box("meta", 0,
                         heif_full_box("hdlr", 0, std::string(4, '\0') + "pict" + std::string(13, '\0')) +
                             heif_full_box("pitm", 0, u16(static_cast<std::size_t>(parts.primary))) +
                             heif_full_box("iinf", 0, u16(parts.items.size()) + infe) +
                             heif_full_box("iloc", 1, iloc) +
                             heif_box("iprp", heif_box("ipco", properties) +
                                                  heif_full_box("ipma", 0, u32(parts.items.size()) + ipma)) +
                             (iref.empty() ? "" : heif_full_box("iref", 0, iref)) + heif_box("idat", idat));
  };
  const std::string ftyp = heif_box("ftyp", "heic" + std::string(4, '\0') + "mif1heic");
  const std::size_t mdat_begin = ftyp.size() + meta(0).size() + 8;
  const std::string table = meta(mdat_begin);
  return ftyp + table + heif_box("mdat", mdat);
}

}  // namespace ripplegauge::test
