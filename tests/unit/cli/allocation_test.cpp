// One allocation after the other fails: whichever it is, the program ends in good order.
#include <algorithm>
#include <vector>

#include "catch.hpp"
#include "run_program.hpp"
#include "sanitized.hpp"

namespace fs = std::filesystem;
using Catch::Matchers::ContainsSubstring;

namespace {

struct Command {
  std::string arguments, file;  ///< OUT stands for the file that it writes
  long looks = 10;              ///< so many allocations fail, one at a time
  bool may_break_down = false;  ///< in Fontconfig or ICU, which do where an allocation fails
};

struct Ending {
  int exit_code = -1;  ///< -1: a signal
  std::string out, err, file;
  bool has_file = false;
};

class Commands {
 public:
  Ending run(const Command& command, long failing, bool all_after = false) const {
    const std::string out = folder_.file("out/" + command.file);
    fs::remove_all(folder_.path() / "out");
    fs::create_directories(folder_.path() / "out");
    std::string arguments = command.arguments;
    arguments.replace(arguments.find("OUT"), 3, "'" + out + "'");
    const std::string line =
        "( FAIL_ALLOCATION=" + std::to_string(failing) + (all_after ? " FAIL_ALLOCATION_ON=1" : "") +
        " FAIL_ALLOCATION_COUNT='" + folder_.file("count") +
        "' LD_PRELOAD='" RIPPLEGAUGE_FAIL_ALLOCATION "' '" RIPPLEGAUGE_PROGRAM "' " + arguments + " >'" +
        folder_.file("stdout") + "' ) 2>'" + folder_.file("stderr") + "' </dev/null";
    const int status = std::system(line.c_str());
    Ending ending;
    ending.exit_code = WIFEXITED(status) && WEXITSTATUS(status) < 128 ? WEXITSTATUS(status) : -1;
    ending.out = folder_.read("stdout");
    ending.err = folder_.read("stderr");
    ending.has_file = fs::exists(out);
    if (ending.has_file) ending.file = ScratchFolder::read(out);
    return ending;
  }
  long count_of(const Command& command) const {
    run(command, 0);
    return std::stol(folder_.read("count"));
  }
  std::string reading() const {
    const Command measure = {samples + "/photos/low-dark.jpg --board-pitch 14 --bar-length 98.4 --json OUT",
                             "r"};
    return folder_.write("reading.json", run({"measure " + measure.arguments, "r"}, 0).file);
  }

  inline static const std::string samples = RIPPLEGAUGE_SOURCE_DIR "/samples";

 private:
  TemporaryFolder folder_;
};

/// Done, and all is there; or a sentence, and no half of a file. Libraries that draw text may break down,
/// with a sentence all the same.
void check_ending(const Command& command, const Ending& whole, const Ending& ending) {
  if (ending.has_file) CHECK(ending.file == whole.file);
  if (ending.exit_code == whole.exit_code) {
    CHECK(ending.has_file == whole.has_file);
    CHECK(ending.out == whole.out);
    return;
  }
  CHECK_THAT(ending.err, ContainsSubstring("ripplegauge: "));
  if (command.may_break_down && ending.exit_code == -1)
    CHECK_THAT(ending.err, ContainsSubstring("broke down"));
  else
    CHECK(ending.exit_code == 4);
}

/// Allocations evenly spread over those that the command makes once its line has been read.
void check_command(const Commands& commands, const Command& command, long looks) {
  const Ending whole = commands.run(command, 0);
  INFO(command.arguments << "\n" << whole.err);
  REQUIRE(whole.has_file);
  const long begin = commands.count_of({"--version --help=OUT", "none"}), count = commands.count_of(command);
  REQUIRE(begin > 0);
  REQUIRE(count > begin);
  for (long i = 0; i < looks; ++i) {
    const long failing = begin + (2 * i + 1) * (count - begin) / (2 * looks);
    INFO("allocation " << failing << " of " << count);
    check_ending(command, whole, commands.run(command, failing));
    // Fontconfig looks for ever for a font where it gets no memory at all.
    if (command.may_break_down) continue;
    INFO("and all after it");
    check_ending(command, whole, commands.run(command, failing, true));
  }
}

std::vector<Command> commands_for(const Commands& commands) {
  const std::string reading = commands.reading(), samples = Commands::samples,
                    tiny = RIPPLEGAUGE_SOURCE_DIR "/tests/fuzz/corpus/photo-pixels/colour.jpg";
  return {{"measure " + tiny + " --board-pitch 14 --json OUT", "r.json", 40},  // some fall on its EXIF
          {"measure " + samples + "/photos/refused-no-card.jpg --board-pitch 14 --json OUT", "r.json"},
          {"plan '" + reading + "' --json OUT", "plan.json"},
          {"job new OUT", "job.json"},
          {"quote " + samples + "/quote/job.json --prices " + samples + "/quote/prices.csv --json OUT",
           "q.json", 10, true},
          {"sheet card --out OUT", "card.pdf", 10, true}};
}

}  // namespace

// Sanitizers bring their own allocator.
TEST_CASE("whichever allocation fails, the program ends with a sentence and no half of a file",
          "[cli][faults][allocation]") {
  if (sanitized) return;
  const Commands commands;
  for (const Command& command : commands_for(commands)) check_command(commands, command, command.looks);
}

TEST_CASE("many allocations fail, one at a time, in whole measurements and drawings, too",
          "[cli][faults][allocation][slow]") {
  if (sanitized) return;
  const Commands commands;
  const std::string samples = Commands::samples;
  std::vector<Command> all = commands_for(commands);
  all.push_back(
      {"measure " + samples + "/photos/low-dark.jpg --board-pitch 14 --bar-length 98.4 --json OUT", "r"});
  all.push_back(
      {"measure " + samples + "/photos/low-dark.jpg --board-pitch 14 --bar-length 98.4 --picture OUT",
       "p.png", 0, true});
  all.push_back({"quote " + samples + "/quote/job.json --prices " + samples + "/quote/prices.csv --pdf OUT",
                 "q.pdf", 0, true});
  for (const Command& command : all) check_command(commands, command, 100);
}
