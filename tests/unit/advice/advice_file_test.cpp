// The files behind a plan: what ships is valid, and every mistake is named with file, key, value and rule.
#include "files/advice_file.hpp"

#include <filesystem>
#include <nlohmann/json.hpp>
#include <set>

#include "calibration.hpp"
#include "catch.hpp"
#include "files/kit_file.hpp"
#include "files/severity_file.hpp"
#include "ripplegauge/core/errors.hpp"
#include "run_program.hpp"

using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;

namespace {

namespace fs = std::filesystem;

/// A copy of the data folder that a test may spoil.
class DataCopy {
 public:
  DataCopy() {
    for (const char* name :
         {"severity.json", "materials.json", "rules.json", "coins.json", "kit-sample.json"})
      fs::copy_file(fs::path(sample::data_folder) / name, folder_.file(name));
  }

  void replace(const std::string& file, const std::string& old_text, const std::string& new_text) const {
    std::string text = folder_.read(file);
    const auto at = text.find(old_text);
    if (at == std::string::npos) FAIL(file << " has no " << old_text);
    folder_.write(file, text.replace(at, old_text.size(), new_text));
  }
  AdviceData read() const { return read_advice_data(folder_.path(), folder_.file("kit-sample.json"), "us"); }
  const TemporaryFolder& folder() const { return folder_; }

 private:
  TemporaryFolder folder_;
};

}  // namespace

TEST_CASE("the data that ships is read whole", "[advice_file]") {
  const AdviceData data = sample::with_sample_kit();
  CHECK(data.severity.grades.size() == 4);
  CHECK(data.severity.criteria.size() == 4);
  CHECK(data.severity.limits.size() == 4);
  CHECK(data.severity.metals.size() == 4);
  CHECK(data.rules.pullers.size() == 7);
  CHECK(data.rules.tab_material.size() == 4);
  CHECK(data.kit.tabs.size() == 12);
  CHECK(data.kit.glues.size() == 3);
  CHECK(data.kit.tips.size() == 6);
}

TEST_CASE("every rule that ships has a reason", "[advice_file]") {
  const AdviceData data = sample::with_sample_kit();
  for (const auto& rule : data.severity.criteria) CHECK_FALSE(rule.reason.empty());
  for (const auto& rule : data.severity.limits) CHECK_FALSE(rule.reason.empty());
  for (const auto& rule : data.rules.pullers) CHECK_FALSE(rule.reason.empty());
  for (const auto& metal : data.severity.metals) CHECK_FALSE(metal.reason.empty());
}

TEST_CASE("the sample kit says that it is invented", "[advice_file]") {
  CHECK_THAT(sample::with_sample_kit().kit.name, ContainsSubstring("invented"));
}

TEST_CASE("mistakes are named with file, key, value and rule", "[advice_file]") {
  struct Mistake {
    const char *file, *old_text, *new_text, *named;
  };
  const Mistake mistakes[] = {
      {"rules.json", "\"value\": 0.85", "\"value\": 1.2", "\"tab.face_share.value\" is 1.2"},
      {"rules.json", "\"row_gap_mm\"", "\"row_gap\"", "row_gap"},
      {"rules.json", "\"grade_at_least\": \"moderate\"", "\"grade_at_least\": \"awful\"", "awful"},
      {"rules.json", "\"pick\": \"narrow_lifter\"", "\"pick\": \"crane\"",
       "\"pullers[1].pick\" is \"crane\""},
      {"rules.json", "[\"body_line\", \"brace\"]", "[\"roof\"]", "pullers[1].when.place"},
      {"rules.json", "{\"diameter_from_mm\": 50,", "{\"diameter_from_mm\": 50, \"diameter_below_mm\": 20,",
       "the rule never holds"},
      {"rules.json", "\"pick\": \"wide_lifter\", \"when\": {}",
       "\"pick\": \"wide_lifter\", \"when\": {\"diameter_from_mm\": 9}", "the last rule must have an empty"},
      {"rules.json", "\"warm_panel_c\": 50", "\"warm_panel_c\": 39", "cools down"},
      {"rules.json", "\"good_gain_percent\": {\"value\": 30", "\"good_gain_percent\": {\"value\": 5",
       "poor_gain_percent"},
      {"rules.json", "\"schema\": 1", "\"schema\": 2", "schema"},
      {"severity.json", "[100, 40, 15]", "[100, 140, 15]", "\"criteria[1].thresholds\""},
      {"severity.json", "[100, 40, 15]", "[100, 40]", "\"criteria[1].thresholds\""},
      {"severity.json", "[1, 4, 12]", "[1, 14, 12]", "larger than the one before"},
      {"severity.json", "\"of\": \"stretch_over_yield\"", "\"of\": \"colour\"", "colour"},
      {"severity.json", "\"edge_from_grade\": \"sharp\"", "\"edge_from_grade\": \"odd\"", "odd"},
      {"severity.json", "\"from_mm\": 20", "\"from_mm\": 2", "size_classes[2].from_mm"},
      {"severity.json", "\"from_mm\": 0}", "\"from_mm\": 1}", "must begin at 0"},
      {"severity.json", "\"then\": \"beyond\"", "\"then\": \"promising\"", "beyond_pulling[0].then"},
      {"materials.json", "\"material\": \"aluminium\"", "\"material\": \"mild_steel\"", "only once"},
      {"materials.json", "\"value\": 210, \"low\": 170", "\"value\": 110, \"low\": 170",
       "between \"low\" and \"high\""},
      {"coins.json", "17.91", "-3", "diameter_mm"},
      {"kit-sample.json", "\"length_mm\": 5,", "\"length_mm\": 6,", "\"tabs[0].length_mm\" is 6"},
      {"kit-sample.json", "\"length_mm\": 18,", "\"length_mm\": 5,", "longer than its"},
      {"kit-sample.json", "\"shape\": \"round\"", "\"shape\": \"star\"", "star"},
      {"kit-sample.json", "\"free_width_mm\": 26", "\"free_width_mm\": 1e9", "free_width_mm"},
      {"kit-sample.json", "{\"low\": 28, \"high\": 37}", "{\"low\": 43, \"high\": 40}", "above \\\"low\\\""},
      {"kit-sample.json", "\"press_s\": 20, ", "", "press_s"},
      {"kit-sample.json", "\"kind\": \"cold\"", "\"kind\": \"cool\"", "cool"},
      {"kit-sample.json", "\"hardness\": \"soft\"", "\"hardness\": 3", "hardness"},
      {"kit-sample.json", "\"tips\"", "\"tipps\"", "tipps"},
  };
  int count = 0;
  for (const Mistake& mistake : mistakes) {
    const DataCopy data;
    CHECK_NOTHROW(data.read());
    data.replace(mistake.file, mistake.old_text, mistake.new_text);
    INFO(mistake.file << ": " << mistake.new_text);
    try {
      data.read();
      FAIL("was accepted");
    } catch (const FileError& error) {
      ++count;
      CHECK_THAT(error.what(), ContainsSubstring(mistake.file));
      std::string named = mistake.named;
      for (auto at = named.find("\\\""); at != std::string::npos; at = named.find("\\\""))
        named.replace(at, 2, "\"");
      CHECK_THAT(error.what(), ContainsSubstring(named));
    }
  }
  CHECK(count == static_cast<int>(std::size(mistakes)));
}

TEST_CASE("an unknown key is refused by name, in whatever object of whatever file", "[advice_file]") {
  using Json = nlohmann::json;
  int objects = 0;
  for (const char* file :
       {"severity.json", "materials.json", "rules.json", "coins.json", "kit-sample.json"}) {
    const DataCopy data;
    const Json good = Json::parse(data.folder().read(file));
    const Json flat = good.flatten();
    std::set<std::string> pointers{""};
    for (const auto& [pointer, value] : flat.items())
      for (auto at = pointer.find('/', 1); at != std::string::npos; at = pointer.find('/', at + 1))
        if (good.at(Json::json_pointer(pointer.substr(0, at))).is_object())
          pointers.insert(pointer.substr(0, at));
    for (const std::string& pointer : pointers) {
      Json spoilt = good;
      spoilt[Json::json_pointer(pointer)]["surprise"] = 1;
      data.folder().write(file, spoilt.dump());
      INFO(file << " " << pointer);
      const std::string message = message_of<FileError>([&] { data.read(); });
      CHECK_THAT(message, ContainsSubstring(file) && ContainsSubstring("surprise"));
      ++objects;
    }
  }
  CHECK(objects > 100);
}

TEST_CASE("panel facts from a file", "[advice_file]") {
  const PanelFacts sample = read_panel_facts(fs::path(sample::data_folder) / "panel-sample.json");
  CHECK(sample.material == Material::mild_steel);
  CHECK(sample.thickness_mm == 0.7);
  CHECK(sample.air_c == 18.0);
  CHECK_FALSE(sample.panel_c);

  const TemporaryFolder folder;
  const auto message = [&](const std::string& rest) {
    const auto file = folder.write("panel.json", "{\"schema\": 1" + rest + "}");
    return message_of<FileError>([&] { read_panel_facts(file); });
  };
  CHECK(message("").empty());
  CHECK_THAT(message(", \"paint\": \"pink\""), ContainsSubstring("panel.json") &&
                                                   ContainsSubstring("\"paint\" is \"pink\"") &&
                                                   ContainsSubstring("repainted"));
  CHECK_THAT(message(", \"thickness_mm\": 9"), ContainsSubstring("\"thickness_mm\" is 9"));
  CHECK_THAT(message(", \"colour\": \"red\""), ContainsSubstring("colour"));
}

TEST_CASE("the workshop's own kit.json is used when no kit is named", "[advice_file]") {
  const DataCopy data;
  const auto kit_of = [](const fs::path& folder) { return read_advice_data(folder, std::nullopt, "us").kit; };
  CHECK(kit_of(data.folder().path()).tabs.empty());
  data.folder().write("kit.json", R"({"schema": 1, "name": "Ours",
    "tabs": [{"name": "A", "shape": "round", "material": "soft", "length_mm": 9, "width_mm": 9}]})");
  const Kit kit = kit_of(data.folder().path());
  CHECK(kit.name == "Ours");
  CHECK(kit.tabs.size() == 1);
  CHECK(kit.pullers.empty());
}

TEST_CASE("missing files and unknown countries", "[advice_file]") {
  CHECK_THROWS_AS(read_advice_data("/nowhere", std::nullopt, "us"), FileError);
  CHECK_THROWS_AS(read_advice_data(sample::data_folder, fs::path("/nowhere/kit.json"), "us"), FileError);
  CHECK_THROWS_AS(read_advice_data(sample::data_folder, std::nullopt, "atlantis"), UsageError);
}
