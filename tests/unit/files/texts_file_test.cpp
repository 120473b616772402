#include "files/texts_file.hpp"

#include "catch.hpp"
#include "ripplegauge/core/errors.hpp"
#include "scratch_folder.hpp"

using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;

namespace {

std::string lines_of(const Texts& texts) {
  std::string lines;
  for (const auto& [key, text] : texts) lines += key + " = " + text + "\n";
  return lines;
}

}  // namespace

TEST_CASE("a translation of one's own is read whole or refused by name", "[texts_file]") {
  const ScratchFolder folder;
  Texts texts = *texts_of_language("en");
  texts["language"] = "nl";
  texts["quote.title"] = "Offerte";
  CHECK(texts_named(folder.write("nl.txt", lines_of(texts))).at("quote.title") == "Offerte");
  texts.erase("quote.total");
  CHECK_THROWS_WITH(texts_named(folder.write("part.txt", lines_of(texts))),
                    ContainsSubstring("part.txt") && ContainsSubstring("quote.total is missing"));
  CHECK_THROWS_WITH(texts_named(folder.write("broken.txt", "a = {")), ContainsSubstring("broken.txt"));
  CHECK_THROWS_AS(texts_named(folder.write("bytes.txt", "a = \xFF")), FileError);
  CHECK_THROWS_AS(texts_named("none.txt"), FileError);
  CHECK(texts_named("de").at("quote.title") == "Angebot");
  CHECK_THROWS_WITH(texts_named("xx"), ContainsSubstring("de, en"));
}
