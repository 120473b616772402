#include "words/wording.hpp"

#include <algorithm>
#include <filesystem>
#include <fstream>
#include <regex>
#include <sstream>

#include "catch.hpp"
#include "ripplegauge/core/errors.hpp"

using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;

namespace {

std::string text_of(const std::filesystem::path& file) {
  std::ifstream stream(file);
  std::ostringstream text;
  text << stream.rdbuf();
  return text.str();
}

Wording made_up(const std::string& lines) { return {texts_from(lines), {}}; }

}  // namespace

TEST_CASE("every language has every text, with the same names in braces", "[wording]") {
  const std::vector<std::string> all = languages();
  REQUIRE(std::count(all.begin(), all.end(), "en") == 1);
  REQUIRE(std::count(all.begin(), all.end(), "de") == 1);
  for (const std::string& language : all) {
    CAPTURE(language);
    CHECK(problems_of(*texts_of_language(language)).empty());
    CHECK(texts_of_language(language)->at("language") == language);
  }
  CHECK(texts_of_language("xx") == nullptr);
}

TEST_CASE("what a translation lacks is named", "[wording]") {
  Texts texts = *texts_of_language("de");
  texts.erase("quote.total");
  texts["quote.spots"] = "{number} Stellen";
  texts["quote.invented"] = "?";
  const std::vector<std::string> problems = problems_of(texts);
  REQUIRE(problems.size() == 3);
  CHECK_THAT(problems[0], ContainsSubstring("quote.spots") && ContainsSubstring("{number}"));
  CHECK(problems[1] == "quote.total is missing");
  CHECK(problems[2] == "quote.invented is no key");
}

TEST_CASE("every text that the code asks for is there, and every text is asked for", "[wording]") {
  const Texts& english = *texts_of_language("en");
  std::string code;
  for (const auto& file : std::filesystem::recursive_directory_iterator(RIPPLEGAUGE_SOURCE_DIR "/src"))
    if (file.path().extension() == ".cpp") code += text_of(file.path());
  const std::regex quoted("\"((quote|compare|picture|text|page|photo|kind)\\.[a-z_.]+)\"");
  std::size_t found = 0;
  for (auto at = std::sregex_iterator(code.begin(), code.end(), quoted); at != std::sregex_iterator(); ++at) {
    const std::string key = (*at)[1];
    if (key.ends_with('.')) continue;  // the rest is put together
    CAPTURE(key);
    CHECK(english.contains(key));
    ++found;
  }
  CHECK(found > 150);
  for (const auto& [key, text] : english) {
    const bool put_together = key.starts_with("finding.") || key.starts_with("grade.") ||
                              key.starts_with("quote.change.key.") ||
                              key.starts_with("quote.change.value.") || key.starts_with("quote.policy.");
    CAPTURE(key);
    CHECK((put_together || key == "language" || code.find("\"" + key + "\"") != std::string::npos));
  }
}

TEST_CASE("names in braces are filled in, counts choose their form", "[wording]") {
  const Wording words = made_up(
      "a = {name} has {count, plural, one {# spot} other {# spots}}\n\n# a remark\nb = {name}, {name}\n");
  CHECK(words("a", {{"name", "bonnet"}, {"count", 1}}) == "bonnet has 1 spot");
  CHECK(words("a", {{"name", "bonnet"}, {"count", 12}}) == "bonnet has 12 spots");
  CHECK(words("b", {{"name", "{count} #"}}) == "{count} #, {count} #");  // what is filled in stays as it is
  CHECK_THROWS_AS(words("c"), std::logic_error);
  CHECK_THROWS_AS(words("b"), std::logic_error);
  CHECK(words.has("a"));
  CHECK_FALSE(words.has("c"));
}

TEST_CASE("plurals are the language's own", "[wording]") {
  // CLDR, https://www.unicode.org/cldr/charts/latest/supplemental/language_plural_rules.html: Polish has few
  // for 2 to 4 and 22 to 24, many for 0 and 5 to 21.
  const Wording polish = wording_for(
      texts_from(
          "language = pl\na = {n, plural, one {# plik} few {# pliki} many {# plików} other {# pliku}}"),
      "");
  CHECK(polish("a", {{"n", 1}}) == "1 plik");
  CHECK(polish("a", {{"n", 23}}) == "23 pliki");
  CHECK(polish("a", {{"n", 12}}) == "12 plików");
}

TEST_CASE("a file of texts says where it is wrong", "[wording]") {
  const auto problem = [](const char* lines) {
    try {
      texts_from(lines);
      return std::string();
    } catch (const UsageError& error) {
      return std::string(error.what());
    }
  };
  CHECK(problem("a = b") == "");
  CHECK_THAT(problem("a = b\nno sign"), ContainsSubstring("line 2"));
  CHECK_THAT(problem("a = b\na = c"), ContainsSubstring("twice"));
  for (const char* lines : {"a = {b", "a = b}", "a = {}", "a = {n, plural, one {x}}",
                            "a = {n, choice, other {x}}", "a = {n, plural, other x}"})
    CHECK_THAT(problem(lines), ContainsSubstring("braces"));
}

TEST_CASE("a name of a right-to-left script keeps its place in the text", "[wording]") {
  const Wording words = made_up("a = {panel} together");
  CHECK(words("a", {{"panel", "bonnet"}}) == "bonnet together");
  CHECK(words("a", {{"panel", "Türschweller 車"}}) == "Türschweller 車 together");
  for (const std::string panel : {"סף", "سقف", "\uFEE0", "\U0001E900"})
    CHECK(words("a", {{"panel", panel}}) == "\u2068" + panel + "\u2069 together");
}

TEST_CASE("numbers, dates and paper are the country's", "[wording]") {
  // Unicode CLDR, https://cldr.unicode.org
  struct Row {
    const char *locale, *number, *date;
    PagePaper paper;
  };
  const Row row = GENERATE(Row{"", "12.50", "2026-04-02", PagePaper::a4},
                           Row{"de-DE", "12,50", "02.04.2026", PagePaper::a4},
                           Row{"en-US", "12.50", "04/02/2026", PagePaper::letter},
                           Row{"en-GB", "12.50", "02/04/2026", PagePaper::a4},
                           Row{"es-MX", "12.50", "02/04/2026", PagePaper::letter},
                           Row{"sv-SE", "12,50", "2026-04-02", PagePaper::a4});
  CAPTURE(row.locale);
  const Wording words = wording_for("en", row.locale);
  CHECK(words.number(12.5, 2) == row.number);
  CHECK(words.date("2026-04-02") == row.date);
  CHECK(words.date("2026:04:02 09:30:00") == row.date);
  CHECK(words.paper() == row.paper);
  CHECK(words.on(PagePaper::letter).paper() == PagePaper::letter);
  CHECK(words.with_plain_numbers().number(12.5, 2) == "12.50");
  CHECK_THROWS_AS(wording_for("en", "xx-NOWHERE"), UsageError);
  CHECK_THROWS_AS(wording_for("xx", "de-DE"), UsageError);
}

TEST_CASE("what is no date stays, and times keep their minutes", "[wording]") {
  const Wording german = wording_for("de", "de-DE");
  CHECK(german.date("") == "");
  CHECK(german.date("soon") == "soon");
  CHECK(german.date("2026-4-2 morning") == "2026-4-2 morning");
  CHECK(german.date_and_time("2026-04-02 09:30:00") == "02.04.2026 09:30");
  CHECK(german.date_and_time("2026-04-02") == "02.04.2026");
  CHECK(Wording::plain().date_and_time("2026-04-02 09:30:00") == "2026-04-02 09:30:00");
  CHECK(german.with_decimal_mark("0.27 mm (0.26 to 0.28), a.jpg v1.") == "0,27 mm (0,26 to 0,28), a.jpg v1.");
}

TEST_CASE("findings are said in the language, in English as the photo has them", "[wording]") {
  CHECK(Wording::plain().finding("blurred", "Edges are 17 pixels wide.") == "Edges are 17 pixels wide.");
  CHECK_THAT(wording_for("de", "").finding("blurred", "Edges are 17 pixels wide."),
             ContainsSubstring("unscharf"));
  CHECK(wording_for("de", "").finding("of_a_later_version", "Something else.") == "Something else.");
}

TEST_CASE("grades are said in the language, a workshop's own ones as they are", "[wording]") {
  CHECK(Wording::plain().grade("moderate") == "moderate");
  CHECK(wording_for("de", "").grade("shallow") == "flach");
  CHECK(wording_for("de", "").grade("our own") == "our own");
  CHECK(wording_for("de", "").grade("").empty());
}
