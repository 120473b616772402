// What a phone wrote into a photo besides its pixels, read by exiv2.
#include "exif.hpp"

#include <cstdint>
#include <exiv2/error.hpp>
#include <exiv2/exif.hpp>

namespace ripplegauge::photo_detail {
namespace {

// Tag numbers of CIPA DC-008: 0x0112, 0xA405, 0x9003.
constexpr const char* orientation_key = "Exif.Image.Orientation";
constexpr const char* focal_35mm_key = "Exif.Photo.FocalLengthIn35mmFilm";
constexpr const char* date_key = "Exif.Photo.DateTimeOriginal";

/// No phone's lens lies outside: the widest have 13 mm, the longest, digital zoom included, some 250 mm.
constexpr double shortest_focal_mm = 8, longest_focal_mm = 300;

const Exiv2::Exifdatum* find(const Exiv2::ExifData& data, const char* key) {
  const auto found = data.findKey(Exiv2::ExifKey(key));
  return found != data.end() && found->count() > 0 ? &*found : nullptr;
}

/// "2026:03:14 10:00:00" -> "2026-03-14 10:00:00"; cameras without a clock write blanks or zeros.
std::string plain_date(const std::string& exif_date) {
  constexpr char pattern[] = "0000:00:00 00:00:00";
  if (exif_date.size() < sizeof pattern - 1) return {};
  std::string date = exif_date.substr(0, sizeof pattern - 1);
  for (std::size_t i = 0; i < date.size(); ++i) {
    const bool digit = date[i] >= '0' && date[i] <= '9';
    if (pattern[i] == '0' ? !digit : date[i] != pattern[i]) return {};
  }
  if (date.compare(0, 4, "0000") == 0) return {};
  date[4] = date[7] = '-';
  return date;
}

ExifFacts facts_of(const Exiv2::ExifData& data) {
  ExifFacts facts;
  if (const auto* datum = find(data, orientation_key)) {
    const auto value = datum->toLong();
    if (value >= 1 && value <= 8) facts.orientation = static_cast<int>(value);
  }
  if (const auto* datum = find(data, focal_35mm_key)) {
    const double value = datum->toFloat();
    if (value >= shortest_focal_mm && value <= longest_focal_mm) facts.focal_35mm_mm = value;
  }
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
  } catch (const std::exception&) {  // Exiv2::Error too
    return {};
  }
}

}  // namespace ripplegauge::photo_detail
