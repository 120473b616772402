// What a phone wrote into a photo besides its pixels, read by exiv2.
#include "exif.hpp"

#include <cstdint>
#include <exiv2/error.hpp>
#include <exiv2/exif.hpp>
#include <new>

#include "exif_values.hpp"

namespace ripplegauge::photo_detail {
namespace {

// Tag numbers of CIPA DC-008: 0x0112, 0xA405, 0x9003.
constexpr const char* orientation_key = "Exif.Image.Orientation";
constexpr const char* focal_35mm_key = "Exif.Photo.FocalLengthIn35mmFilm";
constexpr const char* date_key = "Exif.Photo.DateTimeOriginal";

const Exiv2::Exifdatum* find(const Exiv2::ExifData& data, const char* key) {
  const auto found = data.findKey(Exiv2::ExifKey(key));
  return found != data.end() && found->count() > 0 ? &*found : nullptr;
}

ExifFacts facts_of(const Exiv2::ExifData& data) {
  ExifFacts facts;
  if (const auto* datum = find(data, orientation_key))
    set_orientation(facts, static_cast<double>(datum->toLong()));
  if (const auto* datum = find(data, focal_35mm_key)) set_focal_35mm(facts, datum->toFloat());
  if (const auto* datum = find(data, date_key)) facts.date_taken = plain_date(datum->toString());
  return facts;
}

}  // namespace

ExifFacts exif_facts(const std::string& block) {
  if (block.empty()) return {};
  // Exiv2 reports oddities on stderr unless told not to; a library does not print.
  [[maybe_unused]] static const bool silenced = (Exiv2::LogMsg::setLevel(Exiv2::LogMsg::mute), true);
  try {
    Exiv2::ExifData data;
    Exiv2::ExifParser::decode(data, reinterpret_cast<const Exiv2::byte*>(block.data()),
                              static_cast<std::uint32_t>(block.size()));
    return facts_of(data);
  } catch (const std::bad_alloc&) {
    throw;  // what could not be read for want of memory is not unknown: the photo would lie on its side
  } catch (const std::exception&) {  // Exiv2::Error too
    return {};
  }
}

}  // namespace ripplegauge::photo_detail
