#include "heif_grammar.hpp"

#include <array>
#include <cstddef>
#include <cstdint>

#include "heif_builder.hpp"

namespace ripplegauge::fuzz {
namespace {

class Choices {
 public:
  explicit Choices(std::string_view bytes) : bytes_(bytes) {}
  /// From 0 up to below `count`; 0 when there are no choices left.
  std::size_t below(std::size_t count) {
    return at_ < bytes_.size() ? static_cast<unsigned char>(bytes_[at_++]) % count : 0;
  }
  bool yes() { return below(2) == 1; }
  template <class T, std::size_t count>
  const T& of(const std::array<T, count>& all) {
    return all[below(count)];
  }

 private:
  std::string_view bytes_;
  std::size_t at_ = 0;
};

/// A whole box of the sample, by its type.
std::string box_of(const std::string& sample, const std::string& type) {
  const std::size_t at = sample.find(type) - 4;
  std::size_t size = 0;
  for (std::size_t i = 0; i < 4; ++i) size = size << 8 | static_cast<unsigned char>(sample[at + i]);
  return sample.substr(at, size);
}

/// Sizes round the sample's 64 x 64 and at the ends of what a field holds.
constexpr std::array<std::uint64_t, 12> sizes = {64, 64, 64, 48, 128, 192, 1, 0, 63, 65, 65535, 0xFFFFFFFF};

std::string bytes_of_item(Choices& choices, const std::string& type, const std::string& pixels) {
  if (type == "grid") {
    const int rows = 1 + static_cast<int>(choices.below(choices.yes() ? 4 : 256)),
              columns = 1 + static_cast<int>(choices.below(choices.yes() ? 4 : 256));
    return test::heif_grid(rows, columns, choices.of(sizes), choices.of(sizes));
  }
  std::string bytes = pixels;
  switch (choices.below(8)) {
    case 0:
      return "";
    case 1:
      return bytes + bytes;
    case 2:
      bytes.resize(choices.below(256) % (bytes.size() + 1));
      return bytes;
    case 3:
      bytes[choices.below(bytes.size())] = static_cast<char>(choices.below(256));
      return bytes;
    default:
      return bytes;
  }
}

test::HeifReference reference_of(Choices& choices, std::size_t items) {
  constexpr std::array<const char*, 5> types = {"dimg", "dimg", "auxl", "thmb", "cdsc"};
  test::HeifReference reference{choices.of(types), static_cast<int>(choices.below(items + 2)), {}};
  const std::size_t count = choices.below(choices.yes() ? 10 : 256), first = choices.below(items + 2);
  for (std::size_t i = 0; i < count; ++i)
    reference.to.push_back(static_cast<int>(i == 0 || !choices.yes() ? first : choices.below(items + 2)));
  return reference;
}

}  // namespace

std::string heif_from_choices(std::string_view bytes, const std::string& sample) {
  constexpr std::array<const char*, 8> types = {"hvc1", "hvc1", "grid", "grid",
                                                "iden", "iovl", "av01", "Exif"};
  Choices choices(bytes);
  // The first NAL unit behind its length: one whole picture.
  const std::string data = box_of(sample, "mdat").substr(8);
  std::size_t length = 0;
  for (std::size_t i = 0; i < 4; ++i) length = length << 8 | static_cast<unsigned char>(data[i]);
  const std::string pixels = data.substr(0, 4 + length);
  test::HeifParts parts;
  parts.properties = {
      box_of(sample, "hvcC"), test::heif_size_box(choices.of(sizes), choices.of(sizes)),
      test::heif_size_box(choices.of(sizes), choices.of(sizes)),
      test::heif_box("irot", std::string(1, static_cast<char>(choices.below(4)))),
      test::heif_full_box("auxC", 0, std::string("urn:mpeg:mpegB:cicp:systems:auxiliary:alpha\0", 44))};
  const std::size_t items = 1 + choices.below(4);
  for (std::size_t i = 0; i < items; ++i) {
    test::HeifItem item{choices.of(types), "", choices.yes(), {}};
    item.bytes = bytes_of_item(choices, item.type, pixels);
    for (std::size_t n = choices.below(5); n > 0; --n)
      item.properties.push_back(static_cast<int>(choices.below(parts.properties.size() + 2)));
    parts.items.push_back(item);
  }
  for (std::size_t n = choices.below(4); n > 0; --n) parts.references.push_back(reference_of(choices, items));
  parts.primary = 1 + static_cast<int>(choices.below(items));
  std::string file = test::heif_file(parts);
  if (choices.yes()) file[choices.below(256) * file.size() / 256] = static_cast<char>(choices.below(256));
  return file;
}

}  // namespace ripplegauge::fuzz
