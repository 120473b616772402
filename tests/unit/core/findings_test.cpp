// The list of refusals and warnings: whole, in plain sentences, known to the contributor guide, and the only
// source of codes.
#include "ripplegauge/core/findings.hpp"

#include <filesystem>
#include <fstream>
#include <regex>
#include <set>

#include "catch.hpp"

using namespace ripplegauge;
namespace fs = std::filesystem;

namespace {

std::string bytes_of(const fs::path& file) {
  std::ifstream in(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(in), {}};
}

bool is_a_sentence(const std::string& text) {
  return text.size() > 10 && text[0] >= 'A' && text[0] <= 'Z' && text.ends_with('.');
}

}  // namespace

TEST_CASE("every finding has a code of its own, says what it means and what to do", "[findings]") {
  std::set<std::string> codes;
  for (const FindingText& row : all_findings()) {
    INFO(row.code);
    CHECK(std::regex_match(row.code, std::regex("[a-z]+(_[a-z]+)*")));
    CHECK(codes.insert(row.code).second);
    CHECK(is_a_sentence(row.message));
    CHECK(is_a_sentence(row.remedy));
    CHECK(std::string(row.message).find("--") == std::string::npos);  // options are the command line's words
    CHECK(std::string(row.remedy).find("--") == std::string::npos);
    CHECK(is(refusal(row.finding), row.finding));
    CHECK(is(warning(row.finding), row.finding));
    CHECK(&text_of(row.finding) == &row);
  }
  // The last of the enum: a finding that has no row is missed here.
  CHECK(codes.size() == static_cast<std::size_t>(PhotoFinding::photo_left_out) + 1);
  CHECK_FALSE(is(Refusal{"of_another_version", "", ""}, PhotoFinding::glare));
}

TEST_CASE("the contributor guide shows every finding", "[findings]") {
  const std::string guide = bytes_of(fs::path(RIPPLEGAUGE_SOURCE_DIR) / "src/guide/findings.md");
  for (const FindingText& row : all_findings()) {
    INFO(row.code);
    CHECK(guide.find("`" + std::string(row.code) + "`") != std::string::npos);
  }
}

TEST_CASE("no source writes the code of a refusal or a warning by hand", "[findings]") {
  std::size_t files = 0;
  for (const auto& entry : fs::recursive_directory_iterator(fs::path(RIPPLEGAUGE_SOURCE_DIR) / "src")) {
    if (entry.path().extension() != ".cpp" || entry.path().filename() == "findings.cpp") continue;
    ++files;
    const std::string source = bytes_of(entry.path());
    for (const FindingText& row : all_findings()) {
      INFO(entry.path() << ": " << row.code);
      CHECK(source.find('"' + std::string(row.code) + '"') == std::string::npos);
    }
  }
  CHECK(files > 100);
}

TEST_CASE("every finding is found somewhere", "[findings]") {
  std::string sources;
  for (const auto& entry : fs::recursive_directory_iterator(fs::path(RIPPLEGAUGE_SOURCE_DIR) / "src"))
    if (entry.path().extension() == ".cpp" && entry.path().parent_path().filename() != "cli")
      sources += bytes_of(entry.path());
  for (const FindingText& row : all_findings()) {
    INFO(row.code);
    CHECK(sources.find("PhotoFinding::" + std::string(row.code)) != std::string::npos);
  }
}
