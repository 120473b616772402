// The check command on sample photos.
#include <nlohmann/json.hpp>

#include "catch.hpp"
#include "run_program.hpp"

using Catch::Matchers::ContainsSubstring;

namespace {

std::string photo(const std::string& name) {
  return std::string(RIPPLEGAUGE_SOURCE_DIR) + "/samples/photos/" + name + ".jpg";
}

const std::vector<std::string> given = {"--board-pitch", "14",           "--board-distance",
                                        "288",           "--bar-length", "98.4"};

ProgramRun check(std::vector<std::string> arguments) {
  arguments.insert(arguments.begin(), "check");
  arguments.insert(arguments.end(), given.begin(), given.end());
  return run_program(arguments);
}

}  // namespace

TEST_CASE("check: a good photo is ready, in lines that a terminal holds", "[cli][check]") {
  const TemporaryFolder folder;
  const ProgramRun run = check({photo("low-dark"), "--json", folder.file("check.json")});
  INFO(run.out << run.err);
  CHECK(run.exit_code == 0);
  CHECK_THAT(run.out, ContainsSubstring("Ready: measure it.") && ContainsSubstring("8 of 8 tags") &&
                          ContainsSubstring("degrees from straight on"));
  std::string line;
  for (const char c : run.out.substr(run.out.find('\n') + 1)) {  // the first one is the photo's name
    if (c != '\n') {
      CHECK((c >= ' ' && c <= '~'));
      line += c;
      continue;
    }
    CHECK(line.size() <= 80);
    line.clear();
  }

  const auto json = nlohmann::json::parse(folder.read("check.json"));
  CHECK(json.at("schema") == 1);
  CHECK(json.at("photo") == photo("low-dark"));
  CHECK(json.at("status") == "ready");
  CHECK_FALSE(json.contains("refusal"));
  CHECK(json.at("advice").empty());
  REQUIRE(json.at("disturbances").size() == 1);
  CHECK(json.at("disturbances")[0].at("measurable") == true);
  CHECK(json.at("setup").at("pixels_per_mm").get<double>() > 5);
  for (const auto& [key, value] : json.at("figures").items()) {
    INFO(key);
    CHECK(value.is_number());
  }
}

TEST_CASE("check: one photo of several that would be refused makes exit code 3", "[cli][check]") {
  const TemporaryFolder folder;
  const ProgramRun run =
      check({photo("low-dark"), photo("refused-no-card"), "--json", folder.file("checks.json")});
  INFO(run.out << run.err);
  CHECK(run.exit_code == 3);
  CHECK_THAT(run.out, ContainsSubstring("Ready") && ContainsSubstring("Would be refused: No scale card") &&
                          ContainsSubstring("What to do: "));
  const auto json = nlohmann::json::parse(folder.read("checks.json"));
  REQUIRE(json.size() == 2);
  CHECK(json[1].at("status") == "refused");
  CHECK(json[1].at("refusal").at("code") == "card_not_found");
  CHECK(json[1].at("figures").at("stripe_period_px").is_null());
}

TEST_CASE("check: wrong use and unreadable files have their own exit codes", "[cli][check]") {
  const TemporaryFolder folder;
  CHECK(run_program({"check", photo("low-dark")}).exit_code == 2);  // no pitch
  CHECK(run_program({"check"}).exit_code == 2);
  CHECK(check({folder.file("none.jpg")}).exit_code == 4);
  CHECK(check({folder.write("text.jpg", "no photo")}).exit_code == 4);
  CHECK(check({photo("refused-no-card"), "--json", folder.file("no/such/folder.json")}).exit_code == 4);
  const ProgramRun help = run_program({"check", "--help"});
  CHECK(help.exit_code == 0);
  CHECK_THAT(help.out, ContainsSubstring("Examples:") && ContainsSubstring("--board-pitch"));
}

TEST_CASE("check: what a second photo should show is drawn", "[cli][check]") {
  const TemporaryFolder folder;
  const ProgramRun run = check({photo("low-dark"), "--picture", folder.file("next.png")});
  INFO(run.out << run.err);
  CHECK(run.exit_code == 0);
  CHECK_THAT(run.out, ContainsSubstring("A second photo, read together with this one"));
  CHECK(folder.read("next.png").substr(1, 3) == "PNG");

  const ProgramRun refused = check({photo("refused-no-card"), "--picture", folder.file("none.png")});
  CHECK(refused.exit_code == 3);
  CHECK_THAT(refused.out, ContainsSubstring("No picture was written"));

  const ProgramRun two = check({photo("low-dark"), photo("crease"), "--picture", folder.file("two.png")});
  CHECK(two.exit_code == 2);
  CHECK_THAT(two.err, ContainsSubstring("one photo"));
}
