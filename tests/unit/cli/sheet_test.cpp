#include "catch.hpp"
#include "ripplegauge/json/board_file.hpp"
#include "run_program.hpp"

using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;

TEST_CASE("sheet writes a PDF and says how to print it", "[cli][sheet]") {
  const TemporaryFolder folder;
  for (const char* what : {"card", "board", "tags"}) {
    const ProgramRun run = run_program({"sheet", what, "--out", folder.file("s.pdf"), "--paper", "letter"});
    CHECK(run.exit_code == 0);
    CHECK(run.err.empty());
    CHECK_THAT(run.out, ContainsSubstring("s.pdf") && ContainsSubstring("100 %"));
    CHECK(folder.read("s.pdf").starts_with("%PDF-"));
  }
}

TEST_CASE("sheet board writes the file of the board that it printed", "[cli][sheet]") {
  const TemporaryFolder folder;
  const ProgramRun run = run_program({"sheet", "board", "--tags", "--pitch", "12", "--bar-length", "98",
                                      "--out", folder.file("b.pdf"), "--board-file", folder.file("b.json")});
  CHECK(run.exit_code == 0);
  const BoardDefinition board = read_board(folder.file("b.json"));
  CHECK(board.pitch_mm == Approx(11.76));
  CHECK(board.printed_mirrored);
  CHECK(board.tags.size() == 6);
}

TEST_CASE("sheet board makes a board of several sheets", "[cli][sheet]") {
  const TemporaryFolder folder;
  const auto run = [&](const std::string& tiles) {
    return run_program({"sheet", "board", "--tags", "--tile", tiles, "--out", folder.file("b.pdf"),
                        "--board-file", folder.file("b.json")});
  };
  REQUIRE(run("2x1").exit_code == 0);
  double widest_mm = 0;
  for (const BoardTag& tag : read_board(folder.file("b.json")).tags)
    widest_mm = std::max(widest_mm, tag.x_mm);
  CHECK(widest_mm > 200);  // one sheet of A4 ends at 140 mm
  CHECK(run("1X2").exit_code == 0);
  for (const char* tiles : {"2", "x2", "0x1", "2x", "9x9", "2x1x1", "-1x2", "two", ""}) {
    INFO(tiles);
    CHECK(run(tiles).exit_code == 2);
  }
}

TEST_CASE("sheet refuses what cannot be, with a way out", "[cli][sheet]") {
  const TemporaryFolder folder;
  const auto run = [&](std::vector<std::string> options) {
    options.insert(options.end(), {"--out", folder.file("b.pdf")});
    return run_program(options);
  };
  CHECK(run({"sheet", "board", "--pitch", "99"}).exit_code == 2);
  CHECK_THAT(run({"sheet", "board", "--pitch", "99"}).err, ContainsSubstring("choose one from"));
  CHECK(run({"sheet", "board", "--pitch", "nan"}).exit_code == 2);
  CHECK(run({"sheet", "board", "--paper", "b5"}).exit_code == 2);
  CHECK(run({"sheet", "board", "--board-file", folder.file("b.json"), "--bar-length", "3.9"}).exit_code == 2);
  CHECK_FALSE(std::filesystem::exists(folder.file("b.json")));
  CHECK(run({"sheet", "card", "--card", folder.file("none.json")}).exit_code == 4);
  CHECK(run_program({"sheet", "card", "--out", folder.file("no/such/folder.pdf")}).exit_code == 4);
  CHECK(run_program({"sheet"}).exit_code == 2);
}

TEST_CASE("board writes a file that measure can read", "[cli][board]") {
  const TemporaryFolder folder;
  const std::string file = folder.file("wall.json");
  const ProgramRun run = run_program({"board", file, "--pitch", "20", "--name", "Wand süd", "--mirrored",
                                      "--tag", "40,-250,180.5,40", "--tag", "41,250,-180,30"});
  CHECK(run.exit_code == 0);
  CHECK(run.err.empty());
  CHECK_THAT(run.out, ContainsSubstring("pitch 20 mm, 2 tags"));
  const BoardDefinition board = read_board(file);
  CHECK(board.name == "Wand süd");
  CHECK(board.pitch_mm == 20);
  CHECK(board.printed_mirrored);
  REQUIRE(board.tags.size() == 2);
  CHECK(board.tags[0].id == 40);
  CHECK(board.tags[0].x_mm == -250);
  CHECK(board.tags[0].y_mm == 180.5);
  CHECK(board.tags[1].side_mm == 30);
}

TEST_CASE("a board needs no name", "[cli][board]") {
  const TemporaryFolder folder;
  const std::string file = folder.file("wall.json");
  CHECK(run_program({"board", file, "--pitch", "16"}).exit_code == 0);  // the program reads what it writes
  CHECK(read_board(file).name.empty());
}

TEST_CASE("board never replaces a file and never writes nonsense", "[cli][board]") {
  const TemporaryFolder folder;
  const std::string kept = folder.write("kept.json", "mine");
  CHECK(run_program({"board", kept, "--pitch", "20"}).exit_code == 2);
  CHECK(folder.read("kept.json") == "mine");

  const std::string file = folder.file("new.json");
  CHECK(run_program({"board", file}).exit_code == 2);
  for (const char* pitch : {"0", "-16", "nan", "inf", "1e9", "wide"})
    CHECK(run_program({"board", file, "--pitch", pitch}).exit_code == 2);
  for (const char* tag : {"40", "40,1,2", "40,1,2,3,4", "40,1,2,", "40,1,2,0", "40,1,2,-3", "-1,1,2,3",
                          "587,1,2,3", "40,nan,2,3", "40,1e9,2,3", "40;1;2;3", "", "a,b,c,d"})
    CHECK_THAT(run_program({"board", file, "--pitch", "16", "--tag", tag}).err, ContainsSubstring("--tag"));
  CHECK(run_program({"board", file, "--pitch", "16", "--name", std::string(300, 'n')}).exit_code == 2);
  CHECK(run_program({"board", file, "--pitch", "16", "--name", "a\x1b[31mb"}).exit_code == 2);
  CHECK(run_program({"board", file, "--pitch", "16", "--name", "a\x7f"}).exit_code == 2);
  // Each byte that is no UTF-8 grows to three in the file.
  CHECK(run_program({"board", file, "--pitch", "16", "--name", std::string(150, '\xff')}).exit_code == 2);
  const ProgramRun overlap =
      run_program({"board", file, "--pitch", "16", "--tag", "40,0,0,40", "--tag", "41,10,0,40"});
  CHECK_THAT(overlap.err, ContainsSubstring("tags 40 and 41 overlap"));
  CHECK_FALSE(std::filesystem::exists(file));
}

TEST_CASE("board adds tags to a board that is described already", "[cli][board]") {
  const TemporaryFolder folder;
  REQUIRE(run_program({"board", folder.file("wall.json"), "--pitch", "20", "--name", "wall"}).exit_code == 0);
  const ProgramRun run = run_program({"board", folder.file("tagged.json"), "--from", folder.file("wall.json"),
                                      "--mirrored", "--tag", "40,-250,180,40", "--tag", "41,250,180,40"});
  INFO(run.out << run.err);
  REQUIRE(run.exit_code == 0);
  const BoardDefinition board = read_board(folder.file("tagged.json"));
  CHECK(board.pitch_mm == 20);
  CHECK(board.name == "wall");
  CHECK(board.printed_mirrored);
  REQUIRE(board.tags.size() == 2);
  CHECK(board.tags[1].x_mm == 250);
  // One more of the same number is refused, and nobody may leave out the pitch of a new board.
  CHECK(run_program(
            {"board", folder.file("t.json"), "--from", folder.file("tagged.json"), "--tag", "40,0,0,40"})
            .exit_code == 2);
  CHECK(run_program({"board", folder.file("t.json")}).exit_code == 2);
}

TEST_CASE("board checks the pitch on a photo, and writes nothing that the photo contradicts",
          "[cli][board]") {
  const TemporaryFolder folder;
  const std::string photo =
      std::string(RIPPLEGAUGE_SOURCE_DIR) + "/samples/photos/low-light.jpg";  // pitch 12, samples/README.md
  const auto run = [&](const std::string& file, const std::string& pitch) {
    return run_program(
        {"board", folder.file(file), "--pitch", pitch, "--photo", photo, "--board-distance", "237"});
  };
  const ProgramRun good = run("good.json", "12");
  CHECK(good.exit_code == 0);
  CHECK_THAT(good.out, ContainsSubstring("They agree"));
  CHECK(std::filesystem::exists(folder.file("good.json")));
  const ProgramRun one_stripe = run("half.json", "6");
  CHECK(one_stripe.exit_code == 3);
  CHECK_THAT(one_stripe.out, ContainsSubstring("one light plus one dark"));
  CHECK_FALSE(std::filesystem::exists(folder.file("half.json")));
  CHECK(run_program({"board", folder.file("n.json"), "--pitch", "12", "--photo", photo}).exit_code == 2);

  // A board that is described already is only checked: no word of its file changes.
  const std::string before = folder.read("good.json");
  const ProgramRun again =
      run_program({"board", folder.file("good.json"), "--photo", photo, "--board-distance", "237"});
  CHECK(again.exit_code == 0);
  CHECK_THAT(again.out, ContainsSubstring("They agree"));
  CHECK(folder.read("good.json") == before);
}
