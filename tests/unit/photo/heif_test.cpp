// HEIC files that are made to keep their decoder busy, to break it, or to say one thing and hold another.
#include <unistd.h>

#include <chrono>
#include <csignal>
#include <cstdlib>
#include <filesystem>
#include <map>
#include <new>
#include <optional>
#include <stdexcept>
#include <utility>
#include <vector>

#include "catch.hpp"
#include "heif_builder.hpp"
#include "photo/child_process.hpp"
#include "photo_files.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/photo/photo.hpp"
#include "sanitized.hpp"
#include "scratch_folder.hpp"

using namespace ripplegauge;
using namespace ripplegauge::test;
using namespace ripplegauge::photo_detail;
using Catch::Matchers::ContainsSubstring;

namespace {

constexpr int width_px = 192, height_px = 128;

/// A picture as the encoder has coded it, out of its file.
struct CodedPicture {
  std::string configuration;  ///< the box "hvcC"
  std::string bytes;
};

/// Nothing where libheif has no HEVC encoder.
std::optional<CodedPicture> coded_picture(int width = width_px, int height = height_px) {
  static std::map<std::pair<int, int>, std::string> files;  // coding takes long
  std::string& heic = files[{width, height}];
  if (heic.empty()) heic = heic_bytes(textured_picture(width, height, 7));
  if (heic.empty()) {
    WARN("no HEVC encoder here: not tested");
    return std::nullopt;
  }
  const auto box = [&heic](const std::string& type) {
    const std::size_t at = heic.find(type) - 4;
    std::size_t size = 0;
    for (std::size_t i = 0; i < 4; ++i) size = size << 8 | static_cast<unsigned char>(heic[at + i]);
    return heic.substr(at, size);
  };
  return CodedPicture{box("hvcC"), box("mdat").substr(8)};
}

/// Properties 1: configuration, 2: the coded size, 3: the size of the whole.
HeifParts one_picture(const CodedPicture& coded) {
  HeifParts parts;
  parts.properties = {coded.configuration, heif_size_box(width_px, height_px)};
  parts.items = {{"hvc1", coded.bytes, false, {1, 2}}};
  return parts;
}

/// A grid of the same tile over and over.
HeifParts tiled_picture(const CodedPicture& coded, int rows, int columns) {
  HeifParts parts;
  const auto width = static_cast<std::uint64_t>(width_px * columns),
             height = static_cast<std::uint64_t>(height_px * rows);
  parts.properties = {coded.configuration, heif_size_box(width_px, height_px), heif_size_box(width, height)};
  parts.items = {{"grid", heif_grid(rows, columns, width, height), true, {3}},
                 {"hvc1", coded.bytes, false, {1, 2}}};
  parts.references = {{"dimg", 1, std::vector<int>(static_cast<std::size_t>(rows * columns), 2)}};
  return parts;
}

Photo decoded(const HeifParts& parts) { return decode_photo(heif_file(parts), "test"); }

std::string refusal(const std::string& file) {
  return message_of<FileError>([&] { decode_photo(file, "test"); });
}
std::string refusal(const HeifParts& parts) { return refusal(heif_file(parts)); }

std::string corpus(const std::string& name) {
  return ScratchFolder::read(std::filesystem::path(RIPPLEGAUGE_SOURCE_DIR) / "tests/fuzz/corpus/heif" / name);
}

}  // namespace

TEST_CASE("a HEIC picture and a grid of tiles are read", "[photo][heif]") {
  const auto coded = coded_picture();
  if (!coded) return;
  const Photo whole = decoded(one_picture(*coded));
  CHECK(whole.grey.size() == cv::Size(width_px, height_px));
  const Photo tiled = decoded(tiled_picture(*coded, 2, 3));
  REQUIRE(tiled.grey.size() == cv::Size(3 * width_px, 2 * height_px));
  for (int row = 0; row < 2; ++row)
    for (int column = 0; column < 3; ++column) {
      const cv::Rect place(column * width_px, row * height_px, width_px, height_px);
      CHECK(cv::norm(tiled.grey(place), whole.grey, cv::NORM_INF) == 0);
    }
}

TEST_CASE("the last tiles of a HEIC grid may stand over its edge", "[photo][heif]") {
  const auto coded = coded_picture();
  if (!coded) return;
  HeifParts parts = tiled_picture(*coded, 2, 2);
  parts.properties[2] = heif_size_box(width_px + 2, height_px + 2);
  parts.items[0].bytes = heif_grid(2, 2, width_px + 2, height_px + 2);
  CHECK(decoded(parts).grey.size() == cv::Size(width_px + 2, height_px + 2));
  parts.properties[2] = heif_size_box(width_px, height_px + 2);  // a whole column too many
  parts.items[0].bytes = heif_grid(2, 2, width_px, height_px + 2);
  CHECK_THAT(refusal(parts), ContainsSubstring("tiles do not fit"));
}

TEST_CASE("HEIC pictures made from each other are refused before a decoder follows them", "[photo][heif]") {
  // Two items that are each other's picture: a file of 485 bytes that ended the process.
  CHECK_THAT(refusal(corpus("iden-loop.heic")), ContainsSubstring("from others"));
  const auto coded = coded_picture();
  if (!coded) return;
  // A grid of 64 grids of 64 pictures each: 4096 pictures from 90 kB.
  HeifParts pyramid = tiled_picture(*coded, 8, 8);
  pyramid.items.push_back({"grid", heif_grid(8, 8, width_px, height_px), true, {2}});
  pyramid.items[2].properties = {2};
  pyramid.references[0].to.assign(64, 3);
  pyramid.references.push_back({"dimg", 3, std::vector<int>(64, 2)});
  CHECK_THAT(refusal(pyramid), ContainsSubstring("from others"));
  HeifParts itself = tiled_picture(*coded, 1, 1);
  itself.references[0].to = {1};
  CHECK_THAT(refusal(itself), ContainsSubstring("from others"));
  HeifParts overlay = one_picture(*coded);
  overlay.items[0].type = "iovl";
  CHECK_THAT(refusal(overlay), ContainsSubstring("from others"));
  HeifParts missing = tiled_picture(*coded, 1, 2);
  missing.references[0].to = {2, 9};
  CHECK_THAT(refusal(missing), ContainsSubstring("not there"));
}

TEST_CASE("HEIC tiles that are larger than they say, or too many, are refused", "[photo][heif]") {
  const auto coded = coded_picture();
  if (!coded) return;
  // 255 x 255 tiles of "one pixel", each of which decodes to 192 x 128: 1.6 gigapixels.
  HeifParts lying = tiled_picture(*coded, 1, 1);
  lying.properties[1] = heif_size_box(1, 1);
  lying.properties[2] = heif_size_box(255, 255);
  lying.items[0].bytes = heif_grid(255, 255, 255, 255);
  lying.references[0].to.assign(255 * 255, 2);
  CHECK_THAT(refusal(lying), ContainsSubstring("number of tiles"));
  HeifParts few = tiled_picture(*coded, 2, 2);
  few.properties[1] = heif_size_box(1, 1);
  few.properties[2] = heif_size_box(2, 2);
  few.items[0].bytes = heif_grid(2, 2, 2, 2);
  CHECK_THAT(refusal(few), ContainsSubstring("another size"));
  HeifParts vast = tiled_picture(*coded, 100, 100);
  CHECK_THAT(refusal(vast), ContainsSubstring("megapixels"));
  HeifParts short_list = tiled_picture(*coded, 2, 2);
  short_list.references[0].to.pop_back();
  CHECK_THAT(refusal(short_list), ContainsSubstring("number of tiles"));
  HeifParts two_lists = tiled_picture(*coded, 1, 2);
  two_lists.references.push_back(two_lists.references[0]);
  CHECK_THAT(refusal(two_lists), ContainsSubstring("twice"));
}

TEST_CASE("sizes that a HEIC file tells in several places must agree", "[photo][heif]") {
  const auto coded = coded_picture();
  if (!coded) return;
  HeifParts parts = one_picture(*coded);
  parts.properties[1] = heif_size_box(64, 48);
  CHECK_THAT(refusal(parts), ContainsSubstring("another size"));
  parts.properties[1] = heif_size_box(0xFFFFFFFF, 0xFFFFFFFF);
  CHECK_THAT(refusal(parts), ContainsSubstring("4294967295 x 4294967295"));
  parts.properties[1] = heif_size_box(0, 0);
  CHECK_THAT(refusal(parts), ContainsSubstring("no pixels"));
  HeifParts grid = tiled_picture(*coded, 2, 2);
  grid.properties[2] = heif_size_box(width_px, height_px);
  CHECK_THAT(refusal(grid), ContainsSubstring("another size"));
  HeifParts unsized = one_picture(*coded);
  unsized.items[0].properties = {1};
  CHECK_THAT(refusal(unsized), ContainsSubstring("size is not told"));
  HeifParts twice = one_picture(*coded);
  twice.properties.push_back(heif_size_box(64, 48));
  twice.items[0].properties = {1, 2, 3};
  CHECK_THAT(refusal(twice), ContainsSubstring("twice"));
}

TEST_CASE("a size told among the pixels of a HEIC picture, which a decoder believes, must be the same",
          "[photo][heif]") {
  const auto coded = coded_picture(), larger = coded_picture(256, 192);
  if (!coded || !larger) return;
  const auto parameter_set = [](const CodedPicture& picture) {
    const std::size_t at = picture.configuration.find("\x42\x01");  // NAL unit type 33 behind its length
    const auto length = static_cast<unsigned char>(picture.configuration[at - 1]);
    return big_endian_bytes(length, 4) + picture.configuration.substr(at, length);
  };
  HeifParts parts = one_picture(*coded);
  parts.items[0].bytes = parameter_set(*coded) + coded->bytes;
  CHECK(refusal(parts).find("in two ways") == std::string::npos);
  parts.items[0].bytes = parameter_set(*larger) + coded->bytes;
  CHECK_THAT(refusal(parts), ContainsSubstring("in two ways"));
}

TEST_CASE("a HEIC picture is one picture, and all of it is there", "[photo][heif]") {
  const auto coded = coded_picture();
  if (!coded) return;
  HeifParts film = one_picture(*coded);
  film.items[0].bytes += coded->bytes;
  CHECK_THAT(refusal(film), ContainsSubstring("film"));
  HeifParts cut = one_picture(*coded);
  cut.items[0].bytes.pop_back();
  CHECK_THAT(refusal(cut), ContainsSubstring("cut short"));
  HeifParts empty = one_picture(*coded);
  empty.items[0].bytes.clear();
  CHECK_THAT(refusal(empty), ContainsSubstring("no pixels"));
  std::string file = heif_file(one_picture(*coded));
  file.resize(file.size() - 100);
  CHECK_THAT(refusal(file), ContainsSubstring("missing"));
  HeifParts other = one_picture(*coded);
  other.items[0].type = "av01";
  CHECK_THAT(refusal(other), ContainsSubstring("not coded as phones do it"));
}

TEST_CASE("a work that a child process does comes back, and nothing else of it", "[photo][child]") {
  const SharedMemory shared(sizeof(int));
  auto* const number = new (shared.data()) int(1);
  int own = 1;
  CHECK(run_in_child({}, [&] { *number = own = 2; }) == ChildEnd::done);
  CHECK(*number == 2);
  CHECK(own == 1);
}

TEST_CASE("a child process that breaks down, fills the memory or goes on for ever is ended",
          "[photo][child]") {
  CHECK(run_in_child({}, [] { std::raise(SIGSEGV); }) == ChildEnd::crashed);
  CHECK(run_in_child({}, [] { std::abort(); }) == ChildEnd::crashed);
  CHECK(run_in_child({}, [] { throw std::runtime_error("lost"); }) == ChildEnd::crashed);
  CHECK(run_in_child({}, [] { throw std::bad_alloc(); }) == ChildEnd::out_of_memory);
  const auto begin = std::chrono::steady_clock::now();
  ChildLimits waits;
  waits.clock_s = 1;
  CHECK(run_in_child(waits, [] { ::pause(); }) == ChildEnd::too_slow);
  ChildLimits works;
  works.processor_s = 1;
  CHECK(run_in_child(works, [] {
          for (volatile bool on = true; on;) {
          }
        }) == ChildEnd::too_slow);
  CHECK(std::chrono::steady_clock::now() - begin < std::chrono::seconds(20));
  if (sanitized) return;  // which answers a failed allocation in its own way
  ChildLimits tight;
  tight.memory_bytes = 64 << 20;
  CHECK(run_in_child(tight, [] {
          std::vector<char> much(1u << 30);
          much[much.size() / 2] = 1;
        }) == ChildEnd::out_of_memory);
}
