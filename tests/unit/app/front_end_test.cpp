// What the library says is for every front end: it names things, never options or commands of one of them.
#include <filesystem>
#include <fstream>
#include <regex>

#include "catch.hpp"

namespace fs = std::filesystem;

TEST_CASE("no message of the library names an option or a command", "[front_end]") {
  const std::regex literal("\"(?:[^\"\\\\\n]|\\\\.)*\""),
      of_the_command_line("[ (`\"]--[a-z]|ripplegauge [a-z]+ ");
  std::size_t literals = 0;
  for (const auto& entry : fs::recursive_directory_iterator(fs::path(RIPPLEGAUGE_SOURCE_DIR) / "src")) {
    const std::string layer = entry.path().parent_path().filename().string();
    if (entry.path().extension() != ".cpp" || layer == "cli") continue;
    std::ifstream in(entry.path());
    int number = 0;
    for (std::string line; std::getline(in, line);) {
      ++number;
      if (line.find_first_not_of(' ') == line.find("//")) continue;
      for (std::sregex_iterator found(line.begin(), line.end(), literal), end; found != end; ++found) {
        ++literals;
        INFO(entry.path().string() << ":" << number << ": " << found->str());
        CHECK_FALSE(std::regex_search(found->str(), of_the_command_line));
      }
    }
  }
  CHECK(literals > 1000);
}
