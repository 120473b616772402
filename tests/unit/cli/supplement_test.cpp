#include <nlohmann/json.hpp>

#include "catch.hpp"
#include "run_program.hpp"

using Catch::Matchers::ContainsSubstring;

TEST_CASE("a supplement says what has changed since the first quote, in every form", "[cli][quote]") {
  const std::string prices = RIPPLEGAUGE_SOURCE_DIR "/samples/quote/prices.json";
  const TemporaryFolder folder;
  const std::string job = folder.file("job.json"), first = folder.file("first.json");
  run_program({"job", "add-hand", job, "--panel", "roof", "--diameter", "12", "--severity", "moderate"});
  REQUIRE(run_program({"quote", job, "--prices", prices, "--json", first}).exit_code == 0);
  run_program({"job", "add-hand", job, "--panel", "roof", "--diameter", "25", "--severity", "moderate"});
  const ProgramRun run = run_program({"quote", job, "--prices", prices, "--supplement-to", first, "--json",
                                      folder.file("now.json"), "--html", folder.file("now.html"), "--pdf",
                                      folder.file("now.pdf")});
  CHECK(run.exit_code == 0);
  CHECK_THAT(run.out, ContainsSubstring("What has changed since the first quote") &&
                          ContainsSubstring("Roof: Spot 2: middle, moderate: new"));
  CHECK_THAT(folder.read("now.html"), ContainsSubstring("<h1>Supplement</h1>"));
  const auto then = nlohmann::json::parse(folder.read("first.json")),
             now = nlohmann::json::parse(folder.read("now.json"));
  CHECK(now["supplement"]["difference_minor"] ==
        now["total_minor"].get<int>() - then["total_minor"].get<int>());
  CHECK_FALSE(then.contains("supplement"));

  const std::string broken = folder.write("broken.json", "{}");
  const ProgramRun refused = run_program({"quote", job, "--prices", prices, "--supplement-to", broken});
  CHECK(refused.exit_code == 4);
  CHECK_THAT(refused.err, ContainsSubstring("broken.json"));
}
