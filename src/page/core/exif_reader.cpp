// What a phone wrote into a photo besides its pixels, in place of exiv2, which has ten times the size of the
// rest: three tags of a TIFF block (CIPA DC-008, 4.5 and 4.6), read with every offset checked.
#include <cstdint>
#include <optional>
#include <string_view>

#include "photo/exif.hpp"
#include "photo/exif_values.hpp"

namespace ripplegauge::photo_detail {
namespace {

constexpr unsigned orientation_tag = 0x0112, exif_folder_tag = 0x8769, focal_35mm_tag = 0xA405,
                   date_tag = 0x9003;
constexpr unsigned text_type = 2, short_type = 3, long_type = 4;

/// A block of bytes in one of the two byte orders; what lies outside reads as nothing.
class TiffBlock {
 public:
  explicit TiffBlock(std::string_view bytes) : bytes_(bytes), little_endian_(bytes.substr(0, 2) == "II") {}

  bool is_tiff() const { return (little_endian_ || bytes_.substr(0, 2) == "MM") && number(2, 2) == 42U; }

  std::optional<std::uint32_t> number(std::size_t at, std::size_t size) const {
    if (at > bytes_.size() || size > bytes_.size() - at) return std::nullopt;
    std::uint32_t value = 0;
    for (std::size_t i = 0; i < size; ++i)
      value = value << 8 | static_cast<unsigned char>(bytes_[at + (little_endian_ ? size - 1 - i : i)]);
    return value;
  }

  std::string text(std::size_t at, std::size_t size) const {
    if (at > bytes_.size() || size > bytes_.size() - at) return {};
    return std::string(bytes_.substr(at, size));
  }

 private:
  std::string_view bytes_;
  bool little_endian_;
};

struct Entry {
  unsigned type;
  std::uint32_t count;
  std::size_t value_at;  ///< where its four bytes stand: the value, or the place of a longer one
};

std::optional<Entry> find_entry(const TiffBlock& block, std::size_t folder_at, unsigned tag) {
  constexpr std::size_t entry_bytes = 12;
  const std::uint32_t count = block.number(folder_at, 2).value_or(0);
  for (std::uint32_t i = 0; i < count; ++i) {
    const std::size_t at = folder_at + 2 + i * entry_bytes;
    const auto found = block.number(at, 2), type = block.number(at + 2, 2), values = block.number(at + 4, 4);
    if (!found || !type || !values) return std::nullopt;
    if (*found == tag) return Entry{*type, *values, at + 8};
  }
  return std::nullopt;
}

std::optional<std::uint32_t> whole_number(const TiffBlock& block, std::size_t folder_at, unsigned tag) {
  const auto entry = find_entry(block, folder_at, tag);
  if (!entry || entry->count < 1 || (entry->type != short_type && entry->type != long_type))
    return std::nullopt;
  return block.number(entry->value_at, entry->type == short_type ? 2 : 4);
}

std::string text_of(const TiffBlock& block, std::size_t folder_at, unsigned tag) {
  constexpr std::uint32_t longest = 64;
  const auto entry = find_entry(block, folder_at, tag);
  if (!entry || entry->type != text_type || entry->count > longest || entry->count <= 4) return {};
  const auto at = block.number(entry->value_at, 4);
  return at ? block.text(*at, entry->count) : std::string();
}

}  // namespace

ExifFacts exif_facts(const std::string& bytes) {
  const TiffBlock block(bytes);
  if (!block.is_tiff()) return {};
  const std::size_t main_folder = block.number(4, 4).value_or(0);
  ExifFacts facts;
  if (const auto value = whole_number(block, main_folder, orientation_tag)) set_orientation(facts, *value);
  const auto exif_folder = whole_number(block, main_folder, exif_folder_tag);
  if (!exif_folder) return facts;
  if (const auto value = whole_number(block, *exif_folder, focal_35mm_tag)) set_focal_35mm(facts, *value);
  facts.date_taken = plain_date(text_of(block, *exif_folder, date_tag));
  return facts;
}

}  // namespace ripplegauge::photo_detail
