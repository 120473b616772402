// The page's reader of EXIF against exiv2, which the program has.
#include <catch.hpp>
#include <fstream>
#include <iterator>
#include <string>

#include "photo/decode.hpp"
#include "photo/exif.hpp"

#define exif_facts page_exif_facts
#include "page/core/exif_reader.cpp"
#undef exif_facts

using namespace ripplegauge;
using namespace ripplegauge::photo_detail;

namespace {

std::string exif_of_sample(const std::string& name) {
  std::ifstream file(RIPPLEGAUGE_SOURCE_DIR "/samples/photos/" + name, std::ios::binary);
  const std::string bytes{std::istreambuf_iterator<char>(file), {}};
  return decode_jpeg(bytes, {}, {}).exif;
}

void check_same(const std::string& block) {
  const ExifFacts ours = page_exif_facts(block), theirs = exif_facts(block);
  CHECK(ours.orientation == theirs.orientation);
  CHECK(ours.focal_35mm_mm == theirs.focal_35mm_mm);
  CHECK(ours.date_taken == theirs.date_taken);
}

/// A block in little-endian order with orientation 6, 24 mm and a date (CIPA DC-008, 4.5 and 4.6).
std::string little_endian_block() {
  const auto two = [](unsigned value) {
    return std::string{static_cast<char>(value), static_cast<char>(value >> 8)};
  };
  const auto four = [&](unsigned value) { return two(value & 0xFFFFU) + two(value >> 16); };
  const auto entry = [&](unsigned tag, unsigned type, unsigned count, unsigned value) {
    return two(tag) + two(type) + four(count) + four(value);
  };
  const std::string main = two(2) + entry(0x0112, 3, 1, 6) + entry(0x8769, 4, 1, 38) + four(0);
  const std::string exif = two(2) + entry(0x9003, 2, 20, 68) + entry(0xA405, 3, 1, 24) + four(0);
  return "II" + two(42) + four(8) + main + exif + "2026:04:02 09:30:00" + std::string(1, '\0');
}

}  // namespace

TEST_CASE("the page reads of a sample's EXIF what exiv2 reads", "[photo][page]") {
  const std::string block = exif_of_sample("low-dark.jpg");
  REQUIRE(page_exif_facts(block).focal_35mm_mm == 27);
  check_same(block);
}

TEST_CASE("the page reads EXIF in little-endian order", "[photo][page]") {
  const std::string block = little_endian_block();
  const ExifFacts facts = page_exif_facts(block);
  CHECK(facts.orientation == 6);
  CHECK(facts.focal_35mm_mm == 24);
  CHECK(facts.date_taken == "2026-04-02 09:30:00");
  check_same(block);
}

TEST_CASE("a cut or spoilt EXIF block says no more than it holds", "[photo][page]") {
  const std::string block = little_endian_block();
  for (std::size_t size = 0; size < block.size(); ++size) {
    const ExifFacts facts = page_exif_facts(block.substr(0, size));
    CHECK((facts.date_taken.empty() || facts.date_taken == "2026-04-02 09:30:00"));
  }
  for (std::size_t at = 0; at < block.size(); ++at) {
    std::string spoilt = block;
    spoilt[at] = '\xFF';
    const ExifFacts facts = page_exif_facts(spoilt);
    CHECK((facts.orientation >= 1 && facts.orientation <= 8));
  }
}
