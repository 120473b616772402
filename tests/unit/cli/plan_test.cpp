#include <algorithm>

#include "catch.hpp"
#include "ripplegauge/json/json_reader.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "run_program.hpp"
#include "unit/advice/sample_readings.hpp"

using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;

namespace {

const std::string sample_kit = RIPPLEGAUGE_SOURCE_DIR "/calibration/kit-sample.json";

/// Steps, spots, cautions: how many a plan's JSON holds.
std::size_t count_in(const std::string& json, const std::string& key) {
  const JsonFile file = JsonFile::parse(json, "plan");
  ObjectReader object = file.object();
  return object.required_objects(key).size();
}

std::size_t longest_line(const std::string& text) {
  std::size_t longest = 0, length = 0;
  for (const char c : text) {
    length = c == '\n' ? 0 : length + ((static_cast<unsigned char>(c) & 0xC0) != 0x80);
    longest = std::max(longest, length);
  }
  return longest;
}

std::string pages_of(const std::string& pdf) {
  const TemporaryFolder folder;
  if (std::system(("pdfinfo '" + pdf + "' > '" + folder.file("info") + "'").c_str()) != 0) return "";
  return folder.read("info");
}

std::string text_of(const std::string& pdf) {
  const TemporaryFolder folder;
  if (std::system(("pdftotext -layout '" + pdf + "' '" + folder.file("text") + "'").c_str()) != 0) return "";
  return folder.read("text");
}

}  // namespace

TEST_CASE("plan: from a reading to terminal, JSON and a printed page", "[cli][plan]") {
  const TemporaryFolder folder;
  const std::string reading =
      folder.write("r.json", reading_to_json(sample::reading({sample::low(22.4, 0.31)})));
  const ProgramRun run = run_program({"plan",
                                      reading,
                                      "--kit",
                                      sample_kit,
                                      "--material",
                                      "high-strength-steel",
                                      "--thickness",
                                      "0.65",
                                      "--paint",
                                      "repainted",
                                      "--coating",
                                      "ceramic",
                                      "--place",
                                      "body-line",
                                      "--access",
                                      "reachable",
                                      "--air",
                                      "18",
                                      "--panel-temperature",
                                      "20",
                                      "--coins",
                                      "euro",
                                      "--json",
                                      folder.file("p.json"),
                                      "--sheet",
                                      folder.file("p.pdf")});
  CHECK(run.exit_code == 0);
  CHECK(run.err.empty());
  for (const char* part : {"R14", "slide hammer", "20 cent", "Trial pull first", "eye protection"})
    CHECK_THAT(run.out, ContainsSubstring(part));
  CHECK(std::count(run.out.begin(), run.out.end(), '\n') <= 22);
  CHECK(longest_line(run.out) <= 80);

  const std::string json = folder.read("p.json");
  CHECK(count_in(json, "spots") == 1);
  CHECK(count_in(json, "before") == 5);
  CHECK(count_in(json, "cautions") == 10);
  CHECK(count_in(json, "questions") == 0);

  CHECK_THAT(pages_of(folder.file("p.pdf")), ContainsSubstring("A4"));
  const std::string page = text_of(folder.file("p.pdf"));
  for (const char* part :
       {"Check first", "Tab: R14", "slide hammer", "eye protection", "Isopropyl alcohol", "True size"})
    CHECK_THAT(page, ContainsSubstring(part));
}

TEST_CASE("plan: inches and Fahrenheit on request", "[cli][plan]") {
  const TemporaryFolder folder;
  const std::string reading =
      folder.write("r.json", reading_to_json(sample::reading({sample::low(22.4, 0.31)})));
  const ProgramRun run = run_program({"plan", reading, "--inch", "--fahrenheit"});
  CHECK(run.exit_code == 0);
  CHECK_THAT(run.out, ContainsSubstring("22.4 mm [0.88 in] across"));
  CHECK_THAT(run.out, ContainsSubstring("at 93 to 104 \u00b0F beside the tab"));
  CHECK_THAT(run.out, !ContainsSubstring("\u00b0C"));
  CHECK_THAT(run_program({"plan", reading}).out, !ContainsSubstring(" in]"));
  if (std::system("pdftotext -v >/dev/null 2>&1") != 0) return;
  run_program({"plan", reading, "--inch", "--fahrenheit", "--sheet", folder.file("p.pdf")});
  const std::string sheet = text_of(folder.file("p.pdf"));
  CHECK_THAT(sheet, ContainsSubstring("22.4 mm [0.88 in]"));
  CHECK_THAT(sheet, !ContainsSubstring("\u00b0C"));
}

TEST_CASE("plan: coins are those of the workshop's country", "[cli][plan]") {
  const TemporaryFolder folder;
  const std::string reading =
                        folder.write("r.json", reading_to_json(sample::reading({sample::low(23, 0.3)}))),
                    german = folder.write("w.json", R"({"schema": 1, "locale": "de-DE"})");
  CHECK_THAT(run_program({"plan", reading, "--profile", german}).out, ContainsSubstring("1 euro"));
  CHECK_THAT(run_program({"plan", reading, "--profile", german, "--coins", "us"}).out,
             ContainsSubstring("quarter"));
  CHECK_THAT(run_program({"plan", reading}).out, ContainsSubstring("quarter"));
}

TEST_CASE("plan: words may be typed in several ways", "[cli][plan]") {
  const TemporaryFolder folder;
  const std::string reading =
      folder.write("r.json", reading_to_json(sample::reading({sample::low(22.4, 0.31)})));
  const std::string expected =
      run_program({"plan", reading, "--material", "mild-steel", "--coating", "wax-or-sealant"}).out;
  for (const char* steel : {"steel", "mild_steel", "Mild-Steel"})
    CHECK(run_program({"plan", reading, "--material", steel, "--coating", "wax"}).out == expected);
}

TEST_CASE("plan: facts from a file, and what is said beside it wins", "[cli][plan]") {
  const TemporaryFolder folder;
  const std::string reading =
      folder.write("r.json", reading_to_json(sample::reading({sample::low(22.4, 0.31)})));
  const std::string facts = folder.write(
      "panel.json", R"({"schema": 1, "material": "aluminium", "paint": "original", "air_c": 12})");
  const auto plan = [&](const std::vector<std::string>& more) {
    std::vector<std::string> all{"plan", reading};
    all.insert(all.end(), more.begin(), more.end());
    return run_program(all).out;
  };
  CHECK(plan({"--facts", facts}) == plan({"--material", "aluminium", "--paint", "original", "--air", "12"}));
  for (const auto& order : {std::vector<std::string>{"--facts", facts, "--material", "not-sure"},
                            std::vector<std::string>{"--material", "not-sure", "--facts", facts}})
    CHECK(plan(order) == plan({"--paint", "original", "--air", "12"}));
  const ProgramRun bad =
      run_program({"plan", reading, "--facts", folder.write("bad.json", R"({"schema": 1, "air": 3})")});
  CHECK(bad.exit_code == 4);
  CHECK_THAT(bad.err, ContainsSubstring("\"air\" is unknown"));
}

TEST_CASE("plan: without a kit parts are described", "[cli][plan]") {
  const TemporaryFolder folder;
  const std::string reading =
      folder.write("r.json", reading_to_json(sample::reading({sample::low(22.4, 0.31)})));
  const ProgramRun run = run_program({"plan", reading});
  CHECK(run.exit_code == 0);
  CHECK_THAT(run.out, ContainsSubstring("face at most 18.7 mm"));
  CHECK_THAT(run.out, ContainsSubstring("Not told: material"));
  const ProgramRun full = run_program({"plan", reading, "--full"});
  for (const char* part : {"BEFORE YOU START", "NOT YET KNOWN", "licensed", "Isopropyl alcohol"})
    CHECK_THAT(full.out, ContainsSubstring(part));
}

TEST_CASE("plan: one page however many dents there are", "[cli][plan]") {
  const TemporaryFolder folder;
  for (const int count : {1, 4, 12, 120}) {
    std::vector<Dent> dents;
    for (int i = 0; i < count; ++i) {
      dents.push_back(i % 5 == 4 ? sample::high(10, 0.1) : sample::low(6 + i % 7 * 5, 0.1 + 0.02 * (i % 9)));
      dents.back().x_mm = 70.0 * (i % 10);
      dents.back().y_mm = 70.0 * (i / 10);
    }
    const std::string reading = folder.write("r.json", reading_to_json(sample::reading(dents)));
    for (const char* paper : {"a4", "letter"}) {
      REQUIRE(run_program({"plan", reading, "--sheet", folder.file("p.pdf"), "--paper", paper}).exit_code ==
              0);
      const std::string page = text_of(folder.file("p.pdf"));
      CHECK_THAT(page, ContainsSubstring("Stop when"));
      CHECK_THAT(page, ContainsSubstring("licensed"));
    }
  }
}

TEST_CASE("plan: several readings in one file", "[cli][plan]") {
  const TemporaryFolder folder;
  const auto one = sample::reading({sample::low(22.4, 0.31)});
  const std::string readings = folder.write("r.json", readings_to_json({one, one}));
  const ProgramRun run = run_program({"plan", readings, "--json", folder.file("p.json")});
  CHECK(run.exit_code == 0);
  CHECK(folder.read("p.json").front() == '[');
  const ProgramRun sheet = run_program({"plan", readings, "--sheet", folder.file("p.pdf")});
  CHECK(sheet.exit_code == 2);
  CHECK_THAT(sheet.err, ContainsSubstring("holds 2"));
}

TEST_CASE("plan: refused photos and clean panels", "[cli][plan]") {
  const TemporaryFolder folder;
  Reading refused;
  refused.photo.name = "dark.jpg";
  refused.refusal = Refusal{"card_not_found", "No card was found", "Put the card beside the dent."};
  const ProgramRun none = run_program({"plan", folder.write("r.json", reading_to_json(refused))});
  CHECK(none.exit_code == 3);
  CHECK_THAT(none.out, ContainsSubstring("No card was found"));
  const ProgramRun clean =
      run_program({"plan", folder.write("c.json", reading_to_json(sample::reading({})))});
  CHECK(clean.exit_code == 0);
  CHECK_THAT(clean.out, ContainsSubstring("No dent was found"));
}

TEST_CASE("plan: wrong use and bad files", "[cli][plan]") {
  const TemporaryFolder folder;
  const std::string reading =
      folder.write("r.json", reading_to_json(sample::reading({sample::low(22.4, 0.31)})));
  const auto fails = [](const std::vector<std::string>& arguments, int code, const char* complaint) {
    const ProgramRun run = run_program(arguments);
    CHECK(run.exit_code == code);
    CHECK_THAT(run.err, ContainsSubstring(complaint));
  };
  fails({"plan"}, 2, "READING");
  fails({"plan", reading, "--material", "wood"}, 2, "mild-steel");
  fails({"plan", reading, "--thickness", "9"}, 2, "between 0.3 and 4");
  fails({"plan", reading, "--air", "nan"}, 2, "air temperature");
  fails({"plan", reading, "--coins", "atlantis"}, 2, "us, euro, uk");
  fails({"plan", folder.file("none.json")}, 4, "none.json");
  fails({"plan", folder.write("bad.json", "{\"schema\": 1,")}, 4, "bad.json");
  fails({"plan", reading, "--kit",
         folder.write("kit.json", R"({"schema":1,"name":"x","tabs":[{"name":"a","shape":"star"}]})")},
        4, "\"tabs[0].shape\" is \"star\"");
  fails({"plan", reading, "--json", folder.file("no/such/folder.json")}, 4, "folder");
}

TEST_CASE("next: from two readings to the next move", "[cli][plan]") {
  const TemporaryFolder folder;
  const std::string before =
      folder.write("b.json", reading_to_json(sample::reading({sample::low(22.4, 0.4)})));
  const std::string after =
      folder.write("a.json", reading_to_json(sample::reading({sample::high(12, 0.08)})));
  const ProgramRun run = run_program(
      {"next", before, after, "--material", "steel", "--paint", "original", "--json", folder.file("n.json")});
  CHECK(run.exit_code == 0);
  CHECK_THAT(run.out, ContainsSubstring("Tap down what stands proud"));
  CHECK_THAT(folder.read("n.json"), ContainsSubstring("\"tap_down\""));
  CHECK(longest_line(run.out) <= 80);
  CHECK(run_program({"next", before}).exit_code == 2);
  CHECK(run_program({"next", before, folder.file("none.json")}).exit_code == 4);
}

TEST_CASE("pullwindow: times with intervals, as text and JSON", "[cli][plan]") {
  const TemporaryFolder folder;
  const ProgramRun run = run_program({"pullwindow", "--ambient", "18", "--at", "50@0:00", "--at", "45@0:25",
                                      "--between", "34..40", "--json", folder.file("w.json")});
  CHECK(run.exit_code == 0);
  CHECK_THAT(run.out, ContainsSubstring("thermometer beside the tab reads 34 to 40") &&
                          ContainsSubstring("from 0:55 ("));
  const JsonFile file = JsonFile::parse(folder.read("w.json"), "w.json");
  ObjectReader object = file.object();
  for (const auto& [key, expected_s] : {std::pair("enters_s", 55.13), std::pair("leaves_s", 101.99)}) {
    ObjectReader time = object.required_object(key);
    // 25 s / ln(32/27) times ln(32/22) and ln(32/16), by hand
    CHECK(time.required<double>("value") == Approx(expected_s).margin(0.01));
    CHECK(time.required<double>("low") < expected_s);
    CHECK(time.required<double>("high") > expected_s);
  }

  // the air is too warm to leave the window: null, and it is said why
  const ProgramRun warm = run_program({"pullwindow", "--ambient", "37", "--at", "50@0:00", "--at", "46@0:30",
                                       "--between", "34..40", "--json", folder.file("w.json")});
  CHECK(warm.exit_code == 0);
  CHECK_THAT(folder.read("w.json"), ContainsSubstring("\"leaves_s\": null"));
  CHECK_THAT(warm.out, ContainsSubstring("warning: "));
}

TEST_CASE("pullwindow: no time lies before the clock was started", "[cli][plan]") {
  const ProgramRun rough = run_program({"pullwindow", "--ambient", "18", "--at", "50@0", "--at", "49.5@5"});
  CHECK_THAT(rough.out, ContainsSubstring("(0:00 to "));
  CHECK_THAT(rough.out, !ContainsSubstring("(-"));
}

TEST_CASE("pullwindow: frost, and wrong use", "[cli][plan]") {
  CHECK(run_program(
            {"pullwindow", "--ambient", "-15", "--at", "50@0:00", "--at", "38@0:25", "--between", "-5..3"})
            .exit_code == 0);
  const auto fails = [](const std::vector<std::string>& arguments, const char* complaint) {
    std::vector<std::string> all{"pullwindow"};
    all.insert(all.end(), arguments.begin(), arguments.end());
    const ProgramRun run = run_program(all);
    CHECK(run.exit_code == 2);
    CHECK_THAT(run.err, ContainsSubstring(complaint));
  };
  fails({"--ambient", "18", "--at", "50@0:00", "--between", "34..40"}, "at least two");
  fails({"--ambient", "18", "--at", "50@0:00", "--at", "45@0:00", "--between", "34..40"}, "same second");
  fails({"--ambient", "18", "--at", "50@0:00", "--at", "45@x", "--between", "34..40"}, "CELSIUS@M:SS");
  fails({"--ambient", "18", "--at", "50@0:00", "--at", "inf@9", "--between", "34..40"}, "CELSIUS@M:SS");
  fails({"--ambient", "18", "--at", "50@0:00", "--at", "45@0:09", "--between", "34-40"}, "LOW..HIGH");
  fails({"--ambient", "18", "--at", "50@0:00", "--at", "45@0:09", "--between", "40..34"},
        "lower temperature first");
  fails({"--ambient", "18", "--at", "0:50", "--at", "45@0:09"}, "lacks the @");
  fails({"--at", "50@0:00", "--at", "45@0:09", "--between", "34..40"}, "--ambient");
  fails({"--ambient", "18"}, "two readings or more");
  fails({"--ambient", "18", "--json", "w.json"}, "--json needs");
}

TEST_CASE("pullwindow: readings that are typed in are timed by the program", "[cli][plan]") {
  const TemporaryFolder folder;
  const std::string command = "(echo 50; sleep 1; echo warm; echo 45; echo) | '" RIPPLEGAUGE_PROGRAM
                              "' pullwindow --ambient 18 >'" +
                              folder.file("out") + "'";
  CHECK(std::system(command.c_str()) == 0);
  const std::string out = folder.read("out");
  CHECK_THAT(out, ContainsSubstring("\"warm\" is not a number"));
  CHECK_THAT(out, ContainsSubstring("thermometer beside the tab reads 34 to 40"));
}
