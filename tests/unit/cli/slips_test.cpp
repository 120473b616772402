// What people type wrongly, and what they are told.
#include <fstream>

#include "catch.hpp"
#include "run_program.hpp"

using Catch::Matchers::ContainsSubstring;

namespace {

const std::string photo = std::string(RIPPLEGAUGE_SOURCE_DIR) + "/samples/photos/refused-no-card.jpg";

/// The words of a refused command line. It must end in exit code 2, with nothing printed as a result.
std::string told(const std::vector<std::string>& words) {
  const ProgramRun run = run_program(words);
  CHECK(run.exit_code == 2);
  CHECK(run.out.empty());
  return run.err;
}

}  // namespace

TEST_CASE("an unknown command or option names the nearest one", "[cli][slips]") {
  const auto meant = [](const std::vector<std::string>& words) {
    const std::string text = told(words);
    INFO(text);
    const std::size_t at = text.find("did you mean ");
    return at == std::string::npos ? "" : text.substr(at + 13, text.find('?', at) - at - 13);
  };
  CHECK(meant({"mesure", photo}) == "measure");
  CHECK(meant({"plna"}) == "plan");
  CHECK(meant({"sheet", "borad"}) == "board");
  CHECK(meant({"help"}) == "--help");
  CHECK(meant({"measure", photo, "--pitch", "16"}) == "--board-pitch");
  CHECK(meant({"measure", photo, "--bord-pitch=16"}) == "--board-pitch");
  CHECK(meant({"measure", photo, "--board-pitch", "16", "--distance", "288"}) == "--board-distance");
  CHECK(meant({"measure", photo, "--board-pitch", "16", "--bar", "99"}) == "--bar-length");
  CHECK(meant({"sheet", "board", "--size", "a4"}).empty());
  CHECK_THAT(told({"frobnicate"}), ContainsSubstring("no command frobnicate") && ContainsSubstring("--help"));
  CHECK_THAT(told({"sheet", "board", "--size", "a4"}),
             ContainsSubstring("sheet board: there is no option --size"));
}

TEST_CASE("lengths in another unit are refused with what was meant", "[cli][slips]") {
  const auto distance = [](const std::string& mm) {
    return told({"measure", photo, "--board-pitch", "14", "--board-distance", mm});
  };
  CHECK_THAT(distance("28.8"), ContainsSubstring("did you mean 288?"));
  CHECK_THAT(distance("0.288"), ContainsSubstring("did you mean 288?"));
  CHECK_THAT(distance("2880"), ContainsSubstring("did you mean 288?"));
  CHECK_THAT(distance("28,8"), ContainsSubstring("take a point"));
  CHECK_THAT(distance("288,5"), ContainsSubstring("take a point"));
  CHECK_THAT(told({"setup", "--board-pitch", "1.4"}), ContainsSubstring("did you mean 14?"));
  CHECK_THAT(told({"check", photo, "--board-pitch", "14", "--bar-length", "9.84"}),
             ContainsSubstring("did you mean 98.4?"));
  CHECK_THAT(told({"measure", photo, "--board-pitch", "16,5"}), ContainsSubstring("take a point"));
}

TEST_CASE("a decimal comma is read as one where one number is asked for", "[cli][slips]") {
  const TemporaryFolder folder;
  CHECK(run_program({"board", folder.file("b.json"), "--pitch", "16,5"}).exit_code == 0);
  CHECK_THAT(folder.read("b.json"), ContainsSubstring("16.5"));
  CHECK(run_program({"measure", photo, "--board-pitch", "14", "--bar-length", "98,4"}).exit_code == 3);
  CHECK_THAT(told({"board", folder.file("c.json"), "--pitch", "1,650"}), ContainsSubstring("1.650 or 1650"));
  CHECK(run_program({"board", folder.file("c.json"), "--pitch", "1,6,5"}).exit_code == 2);
}

TEST_CASE("paper may be written in capitals", "[cli][slips]") {
  const TemporaryFolder folder;
  CHECK(run_program({"sheet", "card", "--paper", "A4", "--out", folder.file("a.pdf")}).exit_code == 0);
  CHECK(run_program({"sheet", "card", "--paper", "Letter", "--out", folder.file("l.pdf")}).exit_code == 0);
  CHECK(folder.read("a.pdf") != folder.read("l.pdf"));
}

TEST_CASE("a photo in place of its reading is told of the step between", "[cli][slips]") {
  for (const std::vector<std::string>& words :
       {std::vector<std::string>{"plan", photo}, {"next", photo, photo}, {"study", photo}}) {
    const ProgramRun run = run_program(words);
    INFO(words.front() << "\n" << run.err);
    CHECK(run.exit_code != 0);
    if (words.front() != "study")
      CHECK_THAT(run.err, ContainsSubstring("measure " + photo + " --json refused-no-card.json"));
  }
}
