// The boxes of a HEIF file as far as they decide what its decoder will do.
#include "heif_structure.hpp"

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <map>
#include <set>
#include <string>
#include <vector>

#include "big_endian.hpp"
#include "decode.hpp"
#include "hevc_stream.hpp"

namespace ripplegauge::photo_detail {
namespace {

using ItemId = std::uint64_t;

struct Box {
  std::string_view type, body;
};

/// The boxes in a row (ISO/IEC 14496-12, 4.2: size, type, 64-bit size if that is 1; 0 is "up to the end").
/// Behind the first that makes no sense nothing is read.
std::vector<Box> boxes_in(std::string_view bytes) {
  std::vector<Box> found;
  while (bytes.size() >= 8) {
    std::uint64_t size = big_endian(bytes, 0, 4), head = 8;
    if (size == 1) {
      size = big_endian(bytes, 8, 8);
      head = 16;
    }
    if (size == 0) size = bytes.size();
    if (size < head || size > bytes.size()) break;
    found.push_back({bytes.substr(4, 4), bytes.substr(head, size - head)});
    bytes.remove_prefix(size);
  }
  return found;
}

constexpr std::size_t version_and_flags = 4;

std::string_view behind(std::string_view body, std::size_t head) {
  return body.substr(std::min(head, body.size()));
}

/// The one box of a type; a second one, of which readers might choose either, is refused.
const Box* only_box(const std::vector<Box>& boxes, std::string_view type) {
  const Box* found = nullptr;
  for (const Box& box : boxes) {
    if (box.type != type) continue;
    if (found != nullptr) throw damaged("its part \"" + std::string(type) + "\" is there twice");
    found = &box;
  }
  return found;
}

std::string_view needed(const std::vector<Box>& boxes, std::string_view type) {
  if (const Box* box = only_box(boxes, type)) return box->body;
  throw damaged("its part \"" + std::string(type) + "\" is missing");
}

std::string_view if_there(const std::vector<Box>& boxes, std::string_view type) {
  const Box* box = only_box(boxes, type);
  return box != nullptr ? box->body : std::string_view();
}

/// Where the bytes of an item stand.
struct Extent {
  std::string_view from;
  std::uint64_t begin = 0, length = 0;  ///< length 0: up to the end
};

struct Item {
  std::string_view type;
  std::vector<Extent> extents;
  std::vector<std::size_t> properties;  ///< places in HeifFile::properties, from 0
};

struct Reference {
  std::string_view type;
  ItemId from = 0;
  std::vector<ItemId> to;
};

struct HeifFile {
  ItemId primary = 0;
  std::map<ItemId, Item> items;
  std::vector<Box> properties;
  std::vector<Reference> references;
};

/// "iinf" (ISO/IEC 14496-12, 8.11.6).
void read_item_types(std::string_view iinf, HeifFile& file) {
  const std::size_t head = version_and_flags + (big_endian(iinf, 0, 1) == 0 ? 2 : 4);
  for (const Box& box : boxes_in(behind(iinf, head))) {
    const std::uint64_t version = big_endian(box.body, 0, 1);
    if (box.type != "infe" || version < 2) continue;
    const int wide = version == 2 ? 2 : 4;
    const ItemId id = big_endian(box.body, version_and_flags, wide);
    const std::string_view type = behind(box.body, version_and_flags + static_cast<std::size_t>(wide) + 2);
    if (type.size() < 4) throw damaged("an item has no type");
    if (!file.items.emplace(id, Item{type.substr(0, 4), {}, {}}).second)
      throw damaged("two items have the same number");
  }
}

/// "iloc" (ISO/IEC 14496-12, 8.11.3): in the file (method 0) or in "idat" (1).
void read_item_places(std::string_view iloc, std::string_view file_bytes, std::string_view idat,
                      HeifFile& file) {
  Numbers n(iloc);
  const std::uint64_t version = n.take(1);
  n.take(3);
  const std::uint64_t sizes = n.take(2);
  const auto size = [&](int nibble) {
    const auto bytes = static_cast<int>(sizes >> (12 - 4 * nibble) & 0xF);
    if (bytes > 8) throw damaged("the places of its items make no sense");
    return bytes;
  };
  const int wide = version < 2 ? 2 : 4;
  for (std::uint64_t left = n.take(wide); left > 0 && !n.went_past_the_end(); --left) {
    const auto item = file.items.find(n.take(wide));
    const std::uint64_t method = version > 0 ? n.take(2) & 0xF : 0;
    n.take(2);
    const std::uint64_t base = n.take(size(2));
    for (std::uint64_t extents = n.take(2); extents > 0 && !n.went_past_the_end(); --extents) {
      if (version > 0) n.take(size(3));
      Extent extent{method == 1 ? idat : file_bytes};
      extent.begin = base + n.take(size(0));
      extent.length = n.take(size(1));
      if (method > 1) extent.from = {};
      if (item != file.items.end()) item->second.extents.push_back(extent);
    }
  }
  if (n.went_past_the_end()) throw damaged("the list of its items' places is cut short");
}

/// "ipma" (ISO/IEC 23008-12, 9.3.2).
void read_item_properties(std::string_view ipma, HeifFile& file) {
  Numbers n(ipma);
  const int wide = n.take(1) == 0 ? 2 : 4;
  const int index_bytes = (n.take(3) & 1) != 0 ? 2 : 1;
  const std::uint64_t essential = index_bytes == 2 ? 0x8000 : 0x80;
  for (std::uint64_t left = n.take(4); left > 0 && !n.went_past_the_end(); --left) {
    const auto item = file.items.find(n.take(wide));
    for (std::uint64_t count = n.take(1); count > 0; --count) {
      const std::uint64_t index = n.take(index_bytes) & (essential - 1);
      if (item != file.items.end() && index > 0 && index <= file.properties.size())
        item->second.properties.push_back(index - 1);
    }
  }
  if (n.went_past_the_end()) throw damaged("the list of its items' properties is cut short");
}

/// "iref" (ISO/IEC 14496-12, 8.11.12).
void read_references(std::string_view iref, HeifFile& file) {
  const int wide = big_endian(iref, 0, 1) == 0 ? 2 : 4;
  for (const Box& box : boxes_in(behind(iref, version_and_flags))) {
    Numbers n(box.body);
    Reference reference{box.type, n.take(wide), {}};
    for (std::uint64_t left = n.take(2); left > 0 && !n.went_past_the_end(); --left)
      reference.to.push_back(n.take(wide));
    if (n.went_past_the_end()) throw damaged("the list of its items' relations is cut short");
    file.references.push_back(std::move(reference));
  }
}

HeifFile parsed(std::string_view bytes) {
  constexpr std::size_t most_meta_bytes = 4u << 20;  // a phone's has a few thousand
  const std::string_view meta = needed(boxes_in(bytes), "meta");
  if (meta.size() > most_meta_bytes) throw damaged("its table of contents is larger than any photo's");
  const std::vector<Box> boxes = boxes_in(behind(meta, version_and_flags));
  HeifFile file;
  const std::string_view pitm = needed(boxes, "pitm");
  file.primary = big_endian(pitm, version_and_flags, big_endian(pitm, 0, 1) == 0 ? 2 : 4);
  read_item_types(needed(boxes, "iinf"), file);
  read_item_places(needed(boxes, "iloc"), bytes, if_there(boxes, "idat"), file);
  const std::vector<Box> iprp = boxes_in(needed(boxes, "iprp"));
  file.properties = boxes_in(needed(iprp, "ipco"));
  for (const Box& box : iprp)
    if (box.type == "ipma") read_item_properties(box.body, file);
  read_references(if_there(boxes, "iref"), file);
  return file;
}

const Item& item_of(const HeifFile& file, ItemId id) {
  const auto found = file.items.find(id);
  if (found == file.items.end()) throw damaged("an item that it speaks of is not there");
  return found->second;
}

/// An item's bytes, of which no more can be told than the file has.
std::string bytes_of(const Item& item, std::size_t file_bytes) {
  std::string bytes;
  for (const Extent& extent : item.extents) {
    if (extent.begin > extent.from.size() || extent.length > extent.from.size() - extent.begin)
      throw damaged("a part of its pixels is missing");
    bytes += extent.from.substr(extent.begin, extent.length > 0 ? extent.length : std::string_view::npos);
    if (bytes.size() > file_bytes) throw damaged("a part of its pixels is told twice");
  }
  return bytes;
}

/// The one property of a type that an item has; empty where it has none.
std::string_view property_of(const HeifFile& file, const Item& item, std::string_view type) {
  std::vector<Box> own;
  for (const std::size_t i : item.properties) own.push_back(file.properties[i]);
  return if_there(own, type);
}

struct Size {
  double width_px = 0, height_px = 0;
  friend bool operator==(const Size&, const Size&) = default;
  Size on_its_side() const { return {height_px, width_px}; }
};

/// What an item's "ispe" says (ISO/IEC 23008-12, 6.5.3).
Size told_size(const HeifFile& file, const Item& item) {
  const std::string_view ispe = property_of(file, item, "ispe");
  if (ispe.size() < version_and_flags + 8) throw damaged("a picture's size is not told");
  return {static_cast<double>(big_endian(ispe, version_and_flags, 4)),
          static_cast<double>(big_endian(ispe, version_and_flags + 4, 4))};
}

/// Whether an item is shown turned by a quarter (ISO/IEC 23008-12, 6.5.10).
bool is_on_its_side(const HeifFile& file, const Item& item) {
  return (big_endian(property_of(file, item, "irot"), 0, 1) & 1) != 0;
}

void check_limits(const Size& size, std::size_t file_bytes, const PhotoLimits& limits) {
  check_size(size.width_px, size.height_px, limits);
  check_density(size.width_px, size.height_px, file_bytes, limits);
}

[[noreturn]] void refuse_coding() {
  throw DecodeError("is a HEIF file, but not coded as phones do it (HEVC); save it as JPEG");
}

[[noreturn]] void refuse_derivation() {
  throw DecodeError(
      "is a HEIF file that makes its picture from others in a way that photos do not; save it as JPEG");
}

class Checker {
 public:
  Checker(std::string_view bytes, const PhotoLimits& limits)
      : bytes_(bytes), limits_(limits), file_(parsed(bytes)) {}

  HeifPicture check() {
    const Size size = check_picture(file_.primary);
    for (const Reference& reference : file_.references) {
      const bool of_primary =
          std::find(reference.to.begin(), reference.to.end(), file_.primary) != reference.to.end();
      if (reference.type == "auxl" && of_primary && is_alpha(item_of(file_, reference.from)))
        check_picture(reference.from);
    }
    return {size.width_px, size.height_px};
  }

 private:
  /// A picture that is decoded whole: coded, or a grid of coded ones.
  Size check_picture(ItemId id) {
    const Item& item = item_of(file_, id);
    if (item.type == "hvc1") return check_coded(item);
    if (item.type == "grid") return check_grid(id, item);
    if (item.type == "iden" || item.type == "iovl") refuse_derivation();
    refuse_coding();
  }

  Size check_coded(const Item& item) {
    if (item.type != "hvc1") refuse_coding();
    const Size told = told_size(file_, item);
    check_limits(told, bytes_.size(), limits_);
    const std::string_view configuration = property_of(file_, item, "hvcC");
    if (configuration.empty()) refuse_coding();
    const HevcSize size = hevc_size(configuration);
    const Size coded{static_cast<double>(size.coded_width), static_cast<double>(size.coded_height)},
        shown{static_cast<double>(size.shown_width), static_cast<double>(size.shown_height)};
    check_limits(coded, bytes_.size(), limits_);
    check_hevc_picture(bytes_of(item, bytes_.size()), size);
    if (told_of(item, told, coded)) return coded;
    if (told_of(item, told, shown)) return shown;
    throw damaged("its boxes tell another size than its pixels");
  }

  /// ISO/IEC 23008-12, 6.6.2.3: rows, columns and the size that is filled stand in the grid's own bytes.
  Size check_grid(ItemId id, const Item& item) {
    constexpr std::size_t most_tiles = 1024;  // 110 megapixels in the usual tiles of 512 x 512 are 420
    const std::string grid = bytes_of(item, bytes_.size());
    const int wide = (big_endian(grid, 1, 1) & 1) != 0 ? 4 : 2;
    if (grid.size() < 4 + 2 * static_cast<std::size_t>(wide))
      throw damaged("its picture of tiles has no size");
    const std::uint64_t rows = big_endian(grid, 2, 1) + 1, columns = big_endian(grid, 3, 1) + 1;
    const Size filled{static_cast<double>(big_endian(grid, 4, wide)),
                      static_cast<double>(big_endian(grid, 4 + static_cast<std::size_t>(wide), wide))};
    check_limits(filled, bytes_.size(), limits_);
    if (!told_of(item, told_size(file_, item), filled))
      throw damaged("its boxes tell another size than its tiles");
    const std::vector<ItemId>& tiles = tiles_of(id);
    if (tiles.size() != rows * columns || tiles.size() > most_tiles)
      throw damaged("its number of tiles makes no sense");
    const Size tile = told_size(file_, item_of(file_, tiles.front()));
    check_limits({tile.width_px * static_cast<double>(columns), tile.height_px * static_cast<double>(rows)},
                 bytes_.size(), limits_);
    if (!just_covers(tile.width_px, columns, filled.width_px) ||
        !just_covers(tile.height_px, rows, filled.height_px))
      throw damaged("its tiles do not fit their picture");
    for (const ItemId part : std::set<ItemId>(tiles.begin(), tiles.end())) {
      if (item_of(file_, part).type == "grid") refuse_derivation();
      if (!(check_coded(item_of(file_, part)) == tile)) throw damaged("its tiles differ in size");
    }
    return filled;
  }

  /// The size is told before the picture is turned; some encoders tell it as it is after that.
  bool told_of(const Item& item, const Size& told, const Size& real) const {
    return told == real || (told == real.on_its_side() && is_on_its_side(file_, item));
  }

  static bool just_covers(double tile_px, std::uint64_t count, double filled_px) {
    return tile_px * static_cast<double>(count) >= filled_px &&
           tile_px * static_cast<double>(count - 1) < filled_px;
  }

  const std::vector<ItemId>& tiles_of(ItemId grid) const {
    const Reference* found = nullptr;
    for (const Reference& reference : file_.references) {
      if (reference.type != "dimg" || reference.from != grid) continue;
      if (found != nullptr) throw damaged("its tiles are listed twice");
      found = &reference;
    }
    if (found == nullptr || found->to.empty()) throw damaged("its tiles are not listed");
    return found->to;
  }

  /// Whether an auxiliary picture says what can be seen through: the only kind that is decoded along.
  bool is_alpha(const Item& item) const {
    const std::string_view kind = behind(property_of(file_, item, "auxC"), version_and_flags);
    for (const std::string_view alpha : {"urn:mpeg:mpegB:cicp:systems:auxiliary:alpha",
                                         "urn:mpeg:hevc:2015:auxid:1", "urn:mpeg:avc:2015:auxid:1"})
      if (kind.starts_with(alpha)) return true;
    return false;
  }

  std::string_view bytes_;
  const PhotoLimits& limits_;
  HeifFile file_;
};

}  // namespace

HeifPicture check_heif(std::string_view file, const PhotoLimits& limits) {
  return Checker(file, limits).check();
}

}  // namespace ripplegauge::photo_detail
