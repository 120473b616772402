#include "catch.hpp"
#include "files/photo_values_file.hpp"
#include "ripplegauge/core/errors.hpp"
#include "scratch_folder.hpp"

using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;

namespace {

std::vector<PhotoValues> values_from(const std::string& text) {
  const ScratchFolder folder;
  return read_photo_values(folder.write("values.csv", text));
}

}  // namespace

TEST_CASE("a table says what differs from photo to photo, by name, folder or pattern", "[photo_values]") {
  const auto rows = values_from(
      "Photo;board_pitch_mm;Board_distance_mm;bar_length_mm;panel;comment\r\n"
      "door;14;288,5;98,4;;the small board\r\n"
      "IMG_2*.jpg;20;;;roof;\r\n"
      "door/IMG_21.jpg;;301;;;\r\n;;;;;\r\n");
  REQUIRE(rows.size() == 3);
  const auto plain = values_of_photo(rows, "door/a.jpg");
  REQUIRE(plain);
  CHECK(plain->board_distance_mm == 288.5);
  CHECK(plain->board_pitch_mm == 14);
  CHECK(plain->panel.empty());
  const auto later = values_of_photo(rows, "door/IMG_21.jpg");  // all three rows name it
  REQUIRE(later);
  CHECK(later->board_pitch_mm == 20);
  CHECK(later->board_distance_mm == 301);
  CHECK(later->bar_length_mm == 98.4);
  CHECK(later->panel == "roof");
  CHECK_FALSE(values_of_photo(rows, "doors/a.jpg").has_value());
}

TEST_CASE("a table of values that cannot be one says where", "[photo_values]") {
  const auto error = [](const std::string& text) {
    return message_of<FileError>([&] { values_from(text); });
  };
  CHECK_THAT(error("photo,board_pitch_mm\na,-3\n"), ContainsSubstring("line 2, board_pitch_mm"));
  CHECK_THAT(error("photo,pitch\n"), ContainsSubstring("pitch"));
  CHECK_THAT(error("panel\nroof\n"), ContainsSubstring("without photo"));
  CHECK_FALSE(error("").empty());
}
