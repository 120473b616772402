// The corpora of the fuzzer through the same targets, with any compiler.
#include <filesystem>

#include "catch.hpp"
#include "scratch_folder.hpp"
#include "targets.hpp"

using namespace ripplegauge;
namespace fs = std::filesystem;

namespace {

std::size_t replayed(const std::string& name, const fuzz::Target& target) {
  std::size_t count = 0;
  for (const auto& file :
       fs::directory_iterator(fs::path(RIPPLEGAUGE_SOURCE_DIR) / "tests/fuzz/corpus" / name)) {
    INFO(file.path());
    CHECK_NOTHROW(target(ScratchFolder::read(file.path())));
    ++count;
  }
  return count;
}

}  // namespace

TEST_CASE("whatever the fuzzer has found once is taken well", "[fuzz]") {
  for (const auto& [name, target] : fuzz::targets()) {
    INFO(name);
    CHECK(replayed(name, target) > 0);
  }
}

TEST_CASE("every target takes nothing and next to nothing", "[fuzz]") {
  for (const auto& [name, target] : fuzz::targets()) {
    INFO(name);
    CHECK_NOTHROW(target(""));
    CHECK_NOTHROW(target(std::string_view("\0\xFF", 2)));
  }
}
