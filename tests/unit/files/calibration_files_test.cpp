#include "catch.hpp"
#include "files/workshop_file.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/json/board_file.hpp"
#include "ripplegauge/json/card_file.hpp"
#include "scratch_folder.hpp"

using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;

namespace {

const std::filesystem::path calibration = std::filesystem::path(RIPPLEGAUGE_SOURCE_DIR) / "calibration";

const std::string good_card = R"({"schema": 1, "name": "strip", "tag_family": "36h11", "tag_side_mm": 18,
  "tags": [{"id": 9, "x_mm": 0, "y_mm": 0}, {"id": 10, "x_mm": 25, "y_mm": 0}],
  "paper": [{"x0_mm": -14, "y0_mm": -14, "x1_mm": 39, "y1_mm": 14}]})";

const std::string good_board =
    R"({"schema": 1, "name": "shop board", "pitch_mm": 16, "printed_mirrored": true,
  "tags": [{"id": 40, "x_mm": -250, "y_mm": 180, "side_mm": 40},
           {"id": 41, "x_mm": 250, "y_mm": 180, "side_mm": 40}]})";

std::string edited(std::string text, const std::string& from, const std::string& to) {
  const auto at = text.find(from);
  REQUIRE(at != std::string::npos);
  return text.replace(at, from.size(), to);
}

template <class Read>
std::string message_from(Read read, const std::string& text) {
  const ScratchFolder folder;
  const auto file = folder.write("file.json", text);
  return message_of<FileError>([&] { read(file); });
}

/// As the program reads it, but with nothing in the data folder.
WorkshopProfile profile_from(const std::filesystem::path& file) { return read_workshop(file); }

}  // namespace

TEST_CASE("the standard card is the corner card", "[card_file]") {
  const CardDefinition card = read_card(calibration / "card-corner.json");
  CHECK(card.name == "corner card");
  CHECK(card.tag_side_mm == 18);
  CHECK(card.bar_nominal_mm == 100);
  REQUIRE(card.tags.size() == 8);
  for (int id = 0; id < 5; ++id) {
    CHECK(card.tags[static_cast<std::size_t>(id)].id == id);
    CHECK(card.tags[static_cast<std::size_t>(id)].x_mm == 25 * id);
    CHECK(card.tags[static_cast<std::size_t>(id)].y_mm == 0);
  }
  for (int id = 5; id < 8; ++id) {
    CHECK(card.tags[static_cast<std::size_t>(id)].id == id);
    CHECK(card.tags[static_cast<std::size_t>(id)].x_mm == 0);
    CHECK(card.tags[static_cast<std::size_t>(id)].y_mm == 25 * (id - 4));
  }
  REQUIRE(card.paper.size() == 2);
  CHECK(card.paper[0].x1_mm == 114);
  CHECK(card.paper[1].y1_mm == 89);
}

TEST_CASE("another card needs no new program", "[card_file]") {
  const ScratchFolder folder;
  const CardDefinition card = read_card(folder.write("strip.json", good_card));
  REQUIRE(card.tags.size() == 2);
  CHECK(card.tags[1].id == 10);
  CHECK(card.bar_nominal_mm == 100);  // unless the file says otherwise
}

TEST_CASE("a card that cannot be is refused", "[card_file]") {
  const auto message = [](const std::string& from, const std::string& to) {
    return message_from(read_card, edited(good_card, from, to));
  };
  CHECK_THAT(message("36h11", "25h9"), ContainsSubstring("tag_family") && ContainsSubstring("36h11"));
  CHECK_THAT(message("\"id\": 10", "\"id\": 9"), ContainsSubstring("two tags have the number 9"));
  CHECK_THAT(message("\"id\": 10", "\"id\": 587"),
             ContainsSubstring("tags[1].id") && ContainsSubstring("0 to 586"));
  CHECK_THAT(message("\"x_mm\": 25", "\"x_mm\": 12"), ContainsSubstring("overlap"));
  CHECK_THAT(message("\"x_mm\": 25", "\"x_mm\": 99"), ContainsSubstring("no paper under the tag"));
  CHECK_THAT(message("\"x1_mm\": 39", "\"x1_mm\": -20"), ContainsSubstring("paper[0].x1_mm"));
  CHECK_THAT(message("\"tag_side_mm\": 18", "\"tag_side_mm\": 0"), ContainsSubstring("above 0"));
  CHECK_THAT(message("\"name\"", "\"nmae\""), ContainsSubstring("name"));
  CHECK_THAT(message_from(read_card, good_board), ContainsSubstring("tag_family"));
}

TEST_CASE("a board file is read and written without loss", "[board_file]") {
  const ScratchFolder folder;
  const BoardDefinition board = read_board(folder.write("board.json", good_board));
  CHECK(board.name == "shop board");
  CHECK(board.pitch_mm == 16);
  CHECK(board.printed_mirrored);
  REQUIRE(board.tags.size() == 2);
  CHECK(board.tags[0].id == 40);
  CHECK(board.tags[0].x_mm == -250);
  CHECK(board.tags[0].y_mm == 180);
  CHECK(board.tags[0].side_mm == 40);

  const std::string text = board_to_json(board);
  CHECK(board_to_json(read_board(folder.write("again.json", text))) == text);
}

TEST_CASE("a board may be nothing but stripes", "[board_file]") {
  const ScratchFolder folder;
  const BoardDefinition board = read_board(folder.write("board.json", R"({"schema": 1, "pitch_mm": 12.5})"));
  CHECK(board.pitch_mm == 12.5);
  CHECK(board_from_json(board_to_json(board), "again").name.empty());
  CHECK_FALSE(board.printed_mirrored);
  CHECK(board.tags.empty());
}

TEST_CASE("a board that cannot be is refused", "[board_file]") {
  const auto message = [](const std::string& from, const std::string& to) {
    return message_from(read_board, edited(good_board, from, to));
  };
  CHECK_THAT(message("\"pitch_mm\": 16", "\"pitch_mm\": -16"), ContainsSubstring("\"pitch_mm\" is -16"));
  CHECK_THAT(message("\"pitch_mm\": 16", "\"pitch_mm\": 1e300"), ContainsSubstring("pitch_mm"));
  CHECK_THAT(message("\"pitch_mm\"", "\"pitch\""),
             ContainsSubstring("pitch_mm") && ContainsSubstring("required"));
  CHECK_THAT(message("true", "\"yes\""), ContainsSubstring("true or false"));
  CHECK_THAT(message("\"id\": 41", "\"id\": 40"), ContainsSubstring("two tags have the number 40"));
  CHECK_THAT(message("\"x_mm\": 250", "\"x_mm\": -230"), ContainsSubstring("tags 40 and 41 overlap"));
  CHECK_THAT(message("\"side_mm\": 40}", "\"side_mm\": 0}"), ContainsSubstring("tags[0].side_mm"));
}

TEST_CASE("the workshop profile that comes with the program holds no guess", "[workshop_file]") {
  const WorkshopProfile profile = read_workshop(calibration / "workshop.json");
  CHECK_FALSE(profile.board_pitch_mm);
  CHECK_FALSE(profile.board_distance_mm);
  CHECK_FALSE(profile.bar_length_mm);
  REQUIRE(profile.card_file);
  CHECK_NOTHROW(read_card(*profile.card_file));
  CHECK(profile.coin_country == "us");
}

TEST_CASE("files of a workshop profile are looked for beside it, then among the program's",
          "[workshop_file]") {
  const ScratchFolder folder, data;
  std::filesystem::create_directories(folder / "boards");
  folder.write("boards/wall.json", "{}");
  folder.write("both.json", "{}");
  data.write("both.json", "{}");
  data.write("card.json", "{}");
  const WorkshopProfile profile = read_workshop(
      folder.write("shop.json",
                   R"({"schema": 1, "board_pitch_mm": 16, "board_distance_mm": 450, "bar_length_mm": 99.2,
                       "board_file": "boards/wall.json", "camera_file": "/srv/phone.json",
                       "card_file": "card.json", "kit_file": "both.json"})"),
      data.path());
  CHECK(profile.board_pitch_mm == 16.0);
  CHECK(profile.board_distance_mm == 450.0);
  CHECK(profile.bar_length_mm == 99.2);
  CHECK(profile.board_file == folder / "boards/wall.json");
  CHECK(profile.camera_file == std::filesystem::path("/srv/phone.json"));
  CHECK(profile.card_file == data / "card.json");
  CHECK(profile.kit_file == folder / "both.json");

  CHECK_THAT(message_from(profile_from, R"({"schema": 1, "pitch": 16})"),
             ContainsSubstring("\"pitch\" is unknown"));
  CHECK_THAT(message_from(profile_from, R"({"schema": 1, "bar_length_mm": 0})"),
             ContainsSubstring("bar_length_mm"));
  CHECK_THAT(message_from(profile_from, R"({"schema": 1, "camera_file": "gone.json"})"),
             ContainsSubstring("camera_file") && ContainsSubstring("gone.json") &&
                 ContainsSubstring("no such file"));
}

TEST_CASE("a workshop profile written and read again is the same, wherever its folder goes",
          "[workshop_file]") {
  const ScratchFolder folder, data, elsewhere;
  std::filesystem::create_directories(folder / "bay/boards");
  WorkshopProfile profile;
  profile.bar_length_mm = 98.7;
  profile.board_file = folder.write("bay/boards/wall.json", "{}");
  profile.card_file = data.write("card.json", "{}");
  profile.kit_file = elsewhere.write("kit.json", "{}");
  profile.coin_country = "euro";
  folder.write("bay/shop.json", workshop_to_json(profile, folder / "bay", data.path()));
  std::filesystem::rename(folder / "bay", folder / "moved");
  const WorkshopProfile again = read_workshop(folder / "moved/shop.json", data.path());
  CHECK(again.board_file == folder / "moved/boards/wall.json");
  CHECK(again.card_file == profile.card_file);
  CHECK(again.kit_file == profile.kit_file);
  CHECK(again.bar_length_mm == 98.7);
  CHECK(again.coin_country == "euro");
  CHECK_FALSE(again.board_pitch_mm);
  CHECK_FALSE(again.camera_file);
}
