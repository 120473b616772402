// The workshop profile as people make and use it.
#include <pty.h>
#include <sys/wait.h>
#include <unistd.h>

#include "catch.hpp"
#include "files/workshop_file.hpp"
#include "run_program.hpp"

using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;

namespace {

const std::filesystem::path source = RIPPLEGAUGE_SOURCE_DIR;

struct Dialogue {
  int exit_code = -1;
  std::string shown;  ///< questions and answers, as a person sees them
};

/// `ripplegauge setup FILE` at a terminal, with these answers typed.
Dialogue dialogue(const std::string& file, const std::string& answers) {
  int terminal = -1;
  const pid_t child = ::forkpty(&terminal, nullptr, nullptr, nullptr);
  if (child == 0) {
    ::execl(RIPPLEGAUGE_PROGRAM, "ripplegauge", "setup", file.c_str(), nullptr);
    ::_exit(127);
  }
  REQUIRE(child > 0);
  Dialogue result;
  CHECK(::write(terminal, answers.data(), answers.size()) == static_cast<ssize_t>(answers.size()));
  char block[1024];
  for (ssize_t count = 0; (count = ::read(terminal, block, sizeof block)) > 0;)
    result.shown.append(block, static_cast<std::size_t>(count));
  int status = -1;
  REQUIRE(::waitpid(child, &status, 0) == child);
  ::close(terminal);
  result.exit_code = WIFEXITED(status) ? WEXITSTATUS(status) : -1;
  return result;
}

}  // namespace

TEST_CASE("setup writes a profile, and changes only what is said later", "[cli][setup]") {
  const TemporaryFolder folder;
  const std::string file = folder.file("shop.json");
  REQUIRE(run_program({"setup", file, "--board-pitch", "16", "--bar-length", "99,2"}).exit_code == 0);
  WorkshopProfile profile = read_workshop(file);
  CHECK(profile.board_pitch_mm == 16.0);
  CHECK(profile.bar_length_mm == 99.2);

  const std::string board = (source / "calibration/board-a3-16mm.json").string();
  REQUIRE(run_program({"setup", file, "--board", board, "--coins", "euro"}).exit_code == 0);
  profile = read_workshop(file, source / "calibration");
  CHECK(profile.board_file == board);
  CHECK_FALSE(profile.board_pitch_mm);  // it stands in the board's file
  CHECK(profile.bar_length_mm == 99.2);
  CHECK(profile.coin_country == "euro");
}

TEST_CASE("setup asks at a terminal, again where an answer cannot be", "[cli][setup]") {
  const TemporaryFolder folder;
  const std::string file = folder.file("shop.json");
  const std::string kit = (source / "calibration/kit-sample.json").string();
  const Dialogue asked = dialogue(file, "1.6\n16\n98,7\nnone.json\n\n" + kit + "\n");
  INFO(asked.shown);
  CHECK(asked.exit_code == 0);
  CHECK_THAT(asked.shown, ContainsSubstring("did you mean 16?") && ContainsSubstring("no such file"));
  const WorkshopProfile profile = read_workshop(file, source / "calibration");
  CHECK(profile.board_pitch_mm == 16.0);
  CHECK(profile.bar_length_mm == 98.7);
  CHECK_FALSE(profile.camera_file);
  CHECK(profile.kit_file == kit);

  // Enter keeps, "-" forgets, an end of input changes nothing.
  const std::string before = folder.read("shop.json");
  CHECK(dialogue(file, "12\n\x04").exit_code == 2);
  CHECK(folder.read("shop.json") == before);
  CHECK(dialogue(file, "\n-\n\n-\n").exit_code == 0);
  CHECK(read_workshop(file).board_pitch_mm == 16.0);
  CHECK_FALSE(read_workshop(file).bar_length_mm);
  CHECK_FALSE(read_workshop(file).kit_file);
}

TEST_CASE("setup writes nothing that measure would refuse", "[cli][setup]") {
  const TemporaryFolder folder;
  const std::string file = folder.file("shop.json");
  CHECK(run_program({"setup", file}).exit_code == 2);  // no terminal
  CHECK(run_program({"setup", file, "--board", folder.file("none.json")}).exit_code == 4);
  CHECK(run_program({"setup", file, "--camera", (source / "calibration/coins.json").string()}).exit_code ==
        4);
  CHECK(run_program({"setup", file, "--board-pitch", "16", "--board", "b.json"}).exit_code == 2);
  CHECK(run_program({"setup", file, "--coins", "moon"}).exit_code == 2);
  CHECK(run_program({"setup", file, "--language", "moon"}).exit_code == 2);
  CHECK(run_program({"setup", file, "--bar-length", "9.9"}).exit_code == 2);
  CHECK_FALSE(std::filesystem::exists(file));
  const std::string broken = folder.write("broken.json", "{");
  CHECK(run_program({"setup", broken, "--bar-length", "99"}).exit_code == 4);
  CHECK(folder.read("broken.json") == "{");
}

TEST_CASE("a profile that was copied beside other photos measures there", "[cli][setup]") {
  const TemporaryFolder folder;
  std::filesystem::copy_file(source / "calibration/workshop.json", folder.path() / "workshop.json");
  const ProgramRun run = run_program({"measure", (source / "samples/photos/refused-no-card.jpg").string(),
                                      "--profile", folder.file("workshop.json"), "--board-pitch", "14"});
  INFO(run.err);
  CHECK(run.exit_code == 3);  // of the photo, not of the profile
}
