#include <nlohmann/json.hpp>

#include "../compare/scene.hpp"
#include "catch.hpp"
#include "files/relief_file.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "run_program.hpp"
#include "unit/english_left.hpp"

using namespace ripplegauge;
using namespace ripplegauge::test;
using Catch::Matchers::ContainsSubstring;

namespace {

/// Saves a reading and, beside it, its relief; returns the reading's name.
std::string save(const TemporaryFolder& folder, const std::string& name, const std::vector<Dent>& dents,
                 const std::string& time = "2026-03-14 09:30:00") {
  Reading one = judged(reading(dents));
  one.photo.name = name + ".jpg";
  one.photo.date_taken = time;
  for (Dent& dent : one.dents) {
    dent.severity = "light";
    dent.section = {{-10, 0}, {0, dent.kind == Kind::low ? -0.1 : 0.1}, {10, 0}};
  }
  if (!dents.empty()) folder.write(name + ".relief.csv", relief_to_text(relief_of(dents), ','));
  return folder.write(name + ".json", reading_to_json(one));
}

const Dent low = spot(Kind::low, 40, 50, 0.5, 20);
const Dent less = spot(Kind::low, 40, 50, 0.2, 18);
const Dent high = spot(Kind::high, 40, 50, 0.1, 9);

}  // namespace

TEST_CASE("compare tells the case in words and figures", "[cli][compare]") {
  const TemporaryFolder folder;
  const ProgramRun run = run_program({"compare", save(folder, "before", {low}),
                                      save(folder, "after", {less}, "2026-03-14 09:42:30"), "--json",
                                      folder.file("c.json"), "--pictures", folder.file("pictures")});
  CHECK(run.exit_code == 0);
  CHECK(run.err.empty());
  CHECK_THAT(run.out, ContainsSubstring("60 % ("));
  CHECK_THAT(run.out, ContainsSubstring("partly pulled"));
  CHECK_THAT(run.out, ContainsSubstring("no new marks"));
  const std::string json = folder.read("c.json");
  CHECK_THAT(json, ContainsSubstring("\"outcome\": \"partly\""));
  CHECK_THAT(json, ContainsSubstring("\"minutes\": 12.5"));
  for (const char* picture : {"relief", "difference", "sections"})
    CHECK(folder.read("pictures/" + std::string(picture) + ".png").substr(1, 3) == "PNG");
}

TEST_CASE("the customer's page holds everything in one file", "[cli][compare]") {
  const TemporaryFolder folder;
  const std::string before = save(folder, "before", {low}), after = save(folder, "after", {});
  const ProgramRun html = run_program({"compare", before, after, "--html", folder.file("page.html"),
                                       "--workshop", "Caf\u00e9 <Dents> & Sons", "--date", "2026-03-14"});
  CHECK(html.exit_code == 0);
  const std::string page = folder.read("page.html");
  CHECK_THAT(page, ContainsSubstring("Caf\u00e9 &lt;Dents&gt; &amp; Sons"));
  CHECK_THAT(page, ContainsSubstring("2026-03-14"));
  CHECK_THAT(page,
             ContainsSubstring("The spot is gone, if this is the same place: nothing that the photo shows"));
  CHECK_THAT(page, ContainsSubstring("data:image/png;base64,"));
  CHECK_THAT(page, ContainsSubstring("name=\"viewport\""));
  for (const char* outside : {"http:", "https:", "<script", "<link"})
    CHECK_THAT(page, !ContainsSubstring(outside));

  CHECK(run_program({"compare", before, after, "--pdf", folder.file("1.pdf"), "--date", "2026-03-14"})
            .exit_code == 0);
  CHECK(run_program({"compare", before, after, "--pdf", folder.file("2.pdf"), "--date", "2026-03-14"})
            .exit_code == 0);
  CHECK(folder.read("1.pdf").substr(0, 5) == "%PDF-");
  CHECK(folder.read("1.pdf") == folder.read("2.pdf"));
}

TEST_CASE("a comparison is in its reader's language as a whole", "[cli][compare]") {
  const TemporaryFolder folder;
  const std::string before = save(folder, "before", {low}), after = save(folder, "after", {high}),
                    later = save(folder, "later", {less});
  const std::string profile =
      folder.write("workshop.json", R"({"schema": 1, "language": "de", "paper": "letter"})");
  const ProgramRun run = run_program({"compare", before, after, later, "--profile", profile, "--html",
                                      folder.file("page.html"), "--pdf", folder.file("page.pdf"), "--json",
                                      folder.file("page.json"), "--date", "2026-03-14"});
  CHECK(run.exit_code == 0);
  for (const std::string& output : {run.out, folder.read("page.html"), folder.read("page.json")})
    CHECK(english_left_in(output) == std::vector<std::string>{});
  CHECK_THAT(run.out, ContainsSubstring("60 % (57 bis 63)") && ContainsSubstring("eine Delle von 0,50 mm"));
  CHECK_THAT(folder.read("page.html"), ContainsSubstring("14.03.2026") && ContainsSubstring("0,20 mm") &&
                                           ContainsSubstring("size: letter"));
  CHECK_THAT(folder.read("page.pdf"), ContainsSubstring("612 792"));

  const ProgramRun sheet = run_program({"compare", "--folder", folder.path().string(), "--language", "de",
                                        "--html", folder.file("sheet.html")});
  CHECK(english_left_in(sheet.out) == std::vector<std::string>{});
  CHECK(english_left_in(folder.read("sheet.html")) == std::vector<std::string>{});
  CHECK(run_program({"compare", before, after, "--language", "xx"}).exit_code == 2);
  CHECK(run_program({"compare", before, after, "--locale", "xx-NOWHERE"}).exit_code == 2);
}

TEST_CASE("a series is told from photo to photo", "[cli][compare]") {
  const TemporaryFolder folder;
  const ProgramRun run = run_program({"compare", save(folder, "0", {low}), save(folder, "1", {less}),
                                      save(folder, "2", {high}), "--json", folder.file("s.json"),
                                      "--pictures", folder.file("p"), "--html", folder.file("s.html")});
  CHECK(run.exit_code == 0);
  CHECK_THAT(run.out, ContainsSubstring("Spot 1 from photo to photo"));
  CHECK_THAT(run.out, ContainsSubstring("-0.20 mm"));
  CHECK_THAT(folder.read("s.json"), ContainsSubstring("\"series\""));
  CHECK(folder.read("p/series.png").substr(1, 3) == "PNG");
  CHECK_THAT(folder.read("s.html"), ContainsSubstring("From photo to photo"));
}

TEST_CASE("a comparison adds a row to the training log", "[cli][compare]") {
  const TemporaryFolder folder;
  const std::string before = save(folder, "before", {low}), after = save(folder, "after", {less}),
                    log = folder.file("log.csv");
  for (int i = 0; i < 2; ++i)
    CHECK(run_program({"compare", before,
                       save(folder, "after", {less}, i == 0 ? "2026-03-14 09:40:00" : "2026-03-14 09:50:00"),
                       "--log", log, "--who", "bay 2", "--exercise", "door"})
              .exit_code == 0);
  const ProgramRun again =
      run_program({"compare", before, after, "--log", log, "--who", "bay 2", "--exercise", "door"});
  CHECK(again.exit_code == 0);
  CHECK_THAT(again.err, ContainsSubstring("already, in line 3"));
  const ProgramRun progress = run_program({"progress", log});
  CHECK(progress.exit_code == 0);
  CHECK_THAT(progress.out, ContainsSubstring("attempts             2"));
  CHECK_THAT(progress.out, ContainsSubstring("mean 60 %"));
  CHECK(run_program({"compare", before, after, "--log", log}).exit_code == 2);
  CHECK(run_program({"compare", before, after, "--log", log, "--who", "=1", "--exercise", "x"}).exit_code ==
        2);
  folder.write("log.csv", "something else\n");
  CHECK(run_program({"compare", before, after, "--log", log, "--who", "a", "--exercise", "x"}).exit_code ==
        4);
  CHECK(folder.read("log.csv") == "something else\n");
}

TEST_CASE("a folder is paired by name and shown on one sheet", "[cli][compare]") {
  const TemporaryFolder folder;
  std::filesystem::create_directory(folder.path() / "shots");
  for (const char* name : {"shots/door-before", "shots/hood-before", "shots/roof-before"})
    save(folder, name, {low});
  save(folder, "shots/door-after", {less});
  save(folder, "shots/hood after", {high});
  const ProgramRun run = run_program({"compare", "--folder", folder.file("shots"), "--html",
                                      folder.file("sheet.html"), "--json", folder.file("all.json")});
  CHECK(run.exit_code == 0);
  CHECK_THAT(run.out, ContainsSubstring("door (paired by file names)"));
  CHECK_THAT(run.out, ContainsSubstring("hood (paired by file names)"));
  CHECK_THAT(run.out, ContainsSubstring("Left over: roof-before.json: no shot after of the same place"));
  const std::string sheet = folder.read("sheet.html");
  for (const char* part : {"<h2>door</h2>", "<h2>hood</h2>", "low 0.20 mm", "past flat",
                           "class=\"pictures small\"", "roof-before.json: no shot after"})
    CHECK_THAT(sheet, ContainsSubstring(part));
  const auto all = nlohmann::json::parse(folder.read("all.json"));
  CHECK(all["comparisons"].size() == 2);
  CHECK(all["comparisons"][0]["name"] == "door");
  CHECK(all["left_over"].size() == 1);
  CHECK_THAT(all["program"].get<std::string>(), ContainsSubstring("ripplegauge "));
}

TEST_CASE("a place that cannot be told asks for the user's word", "[cli][compare]") {
  const TemporaryFolder folder;
  const std::string before = save(folder, "before", {low}),
                    after = save(folder, "after", {spot(Kind::low, 80, 20, 0.3, 12)});
  const ProgramRun open = run_program({"compare", before, after});
  CHECK(open.exit_code == 0);
  CHECK_THAT(open.out, ContainsSubstring("--card-moved or --card-still"));
  CHECK_THAT(run_program({"compare", before, after, "--card-still"}).out, ContainsSubstring("1 low made"));
  CHECK_THAT(run_program({"compare", before, after, "--card-moved"}).out,
             ContainsSubstring("if this is the same place"));
  CHECK(run_program({"compare", before, after, "--card-moved", "--card-still"}).exit_code == 2);
}

TEST_CASE("compare refuses what it cannot use, with the right exit code", "[cli][compare]") {
  const TemporaryFolder folder;
  const std::string before = save(folder, "before", {low}), after = save(folder, "after", {less});
  CHECK(run_program({"compare", before}).exit_code == 2);
  CHECK(run_program({"compare", before, after, "--html", "page.pdf"}).exit_code == 2);
  CHECK(run_program({"compare", before, after, "--relief", folder.file("before.relief.csv")}).exit_code == 2);
  CHECK(run_program({"compare", before, folder.file("none.json")}).exit_code == 4);
  CHECK(run_program({"compare", before, folder.write("bad.json", "{\"schema\": 1,")}).exit_code == 4);
  CHECK(run_program({"compare", "--folder", folder.file("none")}).exit_code == 4);
  Reading refused;
  refused.photo.name = "dark.jpg";
  refused.refusal = Refusal{"card_not_found", "The card is not in the photo.", "Lay it beside the spot."};
  const ProgramRun run =
      run_program({"compare", before, folder.write("dark.json", reading_to_json(refused))});
  CHECK(run.exit_code == 3);
  CHECK_THAT(run.out, ContainsSubstring("Lay it beside the spot."));
}
