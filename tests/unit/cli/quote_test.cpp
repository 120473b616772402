#include <fcntl.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <nlohmann/json.hpp>
#include <random>
#include <thread>

#include "catch.hpp"
#include "files/job_file.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "run_program.hpp"
#include "unit/quote/made_up.hpp"

using namespace ripplegauge;
using namespace made_up;
using Catch::Matchers::ContainsSubstring;

namespace {

const std::string sample_prices = RIPPLEGAUGE_SOURCE_DIR "/samples/quote/prices.json";

Dent graded(Dent dent, const std::string& severity) {
  dent.severity = severity;
  dent.max_slope_mrad = Quantity{40, 38, 42};
  return dent;
}

std::string reading_file(const TemporaryFolder& folder, const std::string& name,
                         const std::vector<Dent>& dents) {
  return folder.write(name + ".json", reading_to_json(reading_of(name + ".jpg", dents)));
}

std::string of_newer_version(std::string job) {
  const std::string schema = "\"schema\": 2";
  return job.replace(job.find(schema), schema.size(), "\"schema\": 99");
}

}  // namespace

TEST_CASE("job and quote: from readings to a total", "[cli][quote]") {
  const TemporaryFolder folder;
  const std::string job = folder.file("job.json");
  const std::string a = reading_file(
      folder, "a", {graded(dent_at(30, 40, 15), "moderate"), graded(dent_at(90, 40, 20.1), "shallow")});
  const std::string b = reading_file(folder, "b", {});
  CHECK(run_program({"job", "new", job, "--vehicle", "estate"}).exit_code == 0);
  CHECK(run_program({"job", "new", job}).exit_code == 4);

  const ProgramRun add = run_program({"job", "add", job, "--panel", "bonnet", "--fact", "aluminium", a, b});
  CHECK(add.exit_code == 0);
  CHECK_THAT(add.out, ContainsSubstring("a.jpg: spot 1, 2") && ContainsSubstring("b.jpg: no dent"));

  const ProgramRun twice = run_program({"job", "add", job, "--panel", "roof", a});
  CHECK(twice.exit_code == 0);
  CHECK_THAT(twice.err, ContainsSubstring("a.jpg is in the job already") && ContainsSubstring("bonnet"));
  CHECK(read_job(job).spots.size() == 2);
  CHECK(read_job(job).panels.size() == 1);

  CHECK(run_program({"job", "add-hand", job, "--panel", "roof", "--diameter", "30", "--plus-minus", "2",
                     "--severity", "moderate", "--fact", "no access"})
            .exit_code == 0);
  CHECK(run_program({"job", "add-hand", job, "--panel", "roof", "--diameter", "55", "--severity", "severe"})
            .exit_code == 0);
  CHECK(run_program({"job", "item", job, "remove and refit", "--panel", "roof"}).exit_code == 0);
  CHECK(run_program({"job", "void", job, "--spot", "1"}).exit_code == 2);  // without a reason
  CHECK(run_program({"job", "void", job, "--spot", "1", "--reason", "a lamp"}).exit_code == 0);
  CHECK(run_program({"job", "void", job, "--spot", "99", "--reason", "none"}).exit_code == 2);

  const ProgramRun list = run_program({"job", "list", job, "--all"});
  CHECK(list.exit_code == 0);
  CHECK_THAT(list.out,
             ContainsSubstring("VOID: a lamp") && ContainsSubstring("by hand") && ContainsSubstring("####"));

  // Spot 2: middle, shallow 61.00, aluminium 22 % 13.42. Spot 3: middle, moderate 83.00, no access 11.00,
  // remove and refit 80.00. Together 248.42; 5 % off 12.421 -> 12.42; 236.00; 21 % 49.56; 285.56 -> 285.55.
  const std::string json = folder.file("quote.json");
  const ProgramRun quote =
      run_program({"quote", job, "--prices", sample_prices, "--json", json, "--csv", folder.file("q.csv"),
                   "--html", folder.file("q.html"), "--pdf", folder.file("q.pdf"), "--locale", "de-DE"});
  CHECK(quote.exit_code == 0);
  CHECK(quote.err.empty());
  CHECK_THAT(quote.out, ContainsSubstring("285,55") && ContainsSubstring("beyond pulling") &&
                            ContainsSubstring("between small and middle"));
  const auto parsed = nlohmann::json::parse(folder.read("quote.json"));
  CHECK(parsed["total_minor"] == 28555);
  CHECK(parsed["tax_minor"] == 4956);
  std::int64_t sum_minor = parsed["tax_minor"].get<std::int64_t>();
  for (const auto& line : parsed["lines"]) sum_minor += line["amount_minor"].get<std::int64_t>();
  CHECK(sum_minor == 28555);
  CHECK_THAT(folder.read("q.csv"), ContainsSubstring("285.55"));
  CHECK_THAT(folder.read("q.html"), ContainsSubstring("285,55"));
  CHECK(folder.read("q.pdf").substr(0, 5) == "%PDF-");
}

TEST_CASE("job: a reading without a grade is graded, with the panel's facts", "[cli][quote]") {
  const TemporaryFolder folder;
  const std::string job = folder.file("job.json");
  CHECK(run_program({"job", "add", job, "--panel", "bonnet",
                     reading_file(folder, "a", {graded(dent_at(30, 40, 15), "")})})
            .exit_code == 0);
  REQUIRE(read_job(job).spots.size() == 1);
  CHECK_FALSE(read_job(job).spots[0].severity.empty());
  CHECK_FALSE(read_job(job).spots[0].severity_reason.empty());
}

TEST_CASE("job and quote: pictures are drawn as evidence and stand in the page", "[cli][quote]") {
  const TemporaryFolder folder;
  const std::string job = folder.file("job.json"), page = folder.file("q.html");
  Reading reading = reading_of(RIPPLEGAUGE_SOURCE_DIR "/samples/photos/low-dark.jpg",
                               {graded(dent_at(50, 50, 17), "moderate")});
  reading.photo.sha256.clear();
  const std::string file = folder.write("r.json", reading_to_json(reading));
  CHECK(run_program({"job", "add", job, "--panel", "bonnet", file, "--draw"}).exit_code == 0);
  const Job read = read_job(job);
  REQUIRE(read.photos.size() == 1);
  CHECK(read.photos[0].sha256.size() == 64);  // computed from the photo
  CHECK(std::filesystem::is_regular_file(folder.path() / read.photos[0].picture));
  CHECK(run_program({"quote", job, "--prices", sample_prices, "--html", page}).exit_code == 0);
  CHECK_THAT(folder.read("q.html"), ContainsSubstring("data:image/jpeg;base64,"));

  std::filesystem::remove(folder.path() / read.photos[0].picture);
  const ProgramRun without = run_program({"quote", job, "--prices", sample_prices, "--html", page});
  CHECK(without.exit_code == 0);
  CHECK_THAT(without.err, ContainsSubstring("left out of the evidence"));
  CHECK(folder.read("q.html").find("data:image") == std::string::npos);
}

TEST_CASE("a job's pictures outside its folder never get into a page", "[cli][quote]") {
  namespace fs = std::filesystem;
  const TemporaryFolder folder;
  const fs::path photo = RIPPLEGAUGE_SOURCE_DIR "/samples/photos/low-dark.jpg";
  fs::create_directories(folder.path() / "job/pictures");
  fs::copy_file(photo, folder.path() / "private.jpg");
  fs::create_symlink("../../private.jpg", folder.path() / "job/pictures/link.jpg");
  const std::string job = folder.file("job/job.json");
  const std::string reading = reading_file(folder, "a", {graded(dent_at(30, 40, 15), "moderate")});
  const ProgramRun given =
      run_program({"job", "add", job, "--panel", "roof", reading, "--picture", folder.file("private.jpg")});
  CHECK(given.exit_code == 4);
  CHECK_THAT(given.err, ContainsSubstring("outside the job's folder"));
  REQUIRE(run_program({"job", "add", job, "--panel", "roof", reading}).exit_code == 0);
  for (const std::string& picture :
       {photo.string(), std::string("../private.jpg"), std::string("pictures/../../private.jpg"),
        std::string("pictures/link.jpg")}) {
    INFO(picture);
    change_job(job, JobMustBe::there, [&](Job& read) {
      read.photos[0].picture = picture;
      return true;
    });
    const ProgramRun quote =
        run_program({"quote", job, "--prices", sample_prices, "--html", folder.file("q.html")});
    CHECK(quote.exit_code == 0);
    CHECK_THAT(quote.err, ContainsSubstring("outside the job's folder"));
    CHECK(folder.read("q.html").find("data:image") == std::string::npos);
  }
  change_job(job, JobMustBe::there, [](Job& read) {
    read.photos[0].picture = "pictures/own.jpg";
    return true;
  });
  fs::copy_file(photo, folder.path() / "job/pictures/own.jpg");
  CHECK(run_program({"quote", job, "--prices", sample_prices, "--html", folder.file("q.html")}).err.empty());
  CHECK_THAT(folder.read("q.html"), ContainsSubstring("data:image"));
}

TEST_CASE("the sample job can be quoted with the sample prices", "[cli][quote]") {
  const ProgramRun run =
      run_program({"quote", RIPPLEGAUGE_SOURCE_DIR "/samples/quote/job.json", "--prices", sample_prices});
  CHECK(run.exit_code == 0);
  CHECK_THAT(run.out, ContainsSubstring("invented") && ContainsSubstring("Total"));
}

TEST_CASE("prices: a spreadsheet's table becomes the same JSON", "[cli][quote]") {
  const TemporaryFolder folder;
  const std::string csv = RIPPLEGAUGE_SOURCE_DIR "/samples/quote/prices.csv";
  CHECK(run_program({"prices", csv, "--json", folder.file("csv.json")}).exit_code == 0);
  const ProgramRun json = run_program({"prices", sample_prices, "--json", folder.file("json.json")});
  CHECK(json.exit_code == 0);
  CHECK_THAT(json.out, ContainsSubstring("20–40 mm") && ContainsSubstring("on request"));
  CHECK(folder.read("csv.json") == folder.read("json.json"));
}

TEST_CASE("a spot that cannot be graded has no price, and the quote says how to give it one",
          "[cli][quote]") {
  const TemporaryFolder folder;
  const std::string job = folder.file("job.json");
  Dent unknown = dent_at(30, 40, 15);
  unknown.depth_mm.reset();
  unknown.severity = "not graded";
  CHECK(run_program({"job", "add", job, "--panel", "bonnet",
                     reading_file(folder, "a", {unknown, graded(dent_at(90, 40, 15), "moderate")})})
            .exit_code == 0);
  CHECK(read_job(job).spots.at(0).severity.empty());
  const ProgramRun quote = run_program({"quote", job, "--prices", sample_prices});
  CHECK(quote.exit_code == 0);
  CHECK_THAT(quote.out, ContainsSubstring("1 spot has no price") && ContainsSubstring("severity not known") &&
                            ContainsSubstring("--spot 1 --severity"));
}

TEST_CASE("job: a photo that was refused is not listed once it came again", "[cli][quote]") {
  const TemporaryFolder folder;
  const std::string job = folder.file("job.json");
  Reading refused = reading_of("a.jpg", {});
  refused.status = Status::refused;
  refused.refusal = Refusal{"blur", "It is blurred.", "Hold still."};
  CHECK(run_program({"job", "add", job, "--panel", "roof", folder.write("r.json", reading_to_json(refused))})
            .exit_code == 3);
  CHECK_THAT(run_program({"job", "list", job}).out, ContainsSubstring("Hold still."));
  CHECK(run_program({"job", "add", job, "--panel", "roof", reading_file(folder, "a", {})}).exit_code == 0);
  CHECK(run_program({"job", "list", job}).out.find("Hold still.") == std::string::npos);
}

TEST_CASE("a quote says what was not measured, in every form, until somebody has seen to it",
          "[cli][quote]") {
  const TemporaryFolder folder;
  const std::string job = folder.file("job.json");
  Reading refused = reading_of("b.jpg", {});
  refused.status = Status::refused;
  refused.refusal = Refusal{"blur", "It is blurred.", "Hold still."};
  Reading warned = reading_of("a.jpg", {graded(dent_at(30, 40, 15), "moderate")});
  warned.warnings = {{"board_distance", "The tape and the photo do not agree."}};
  run_program({"job", "add", job, "--panel", "roof", folder.write("a.json", reading_to_json(warned))});
  run_program({"job", "add", job, "--panel", "roof", folder.write("b.json", reading_to_json(refused))});
  run_program({"job", "panel", job, "left door"});

  const auto quote = [&] {
    return run_program({"quote", job, "--prices", sample_prices, "--json", folder.file("q.json"), "--csv",
                        folder.file("q.csv"), "--html", folder.file("q.html")});
  };
  const ProgramRun partial = quote();
  for (const std::string& text : {partial.out, folder.read("q.html"), folder.read("q.csv")})
    CHECK_THAT(text, ContainsSubstring("b.jpg") && ContainsSubstring("It is blurred.") &&
                         ContainsSubstring("left door") && ContainsSubstring("artial") &&
                         ContainsSubstring("The tape and the photo do not agree. (a.jpg)"));
  auto json = nlohmann::json::parse(folder.read("q.json"));
  CHECK(json["partial"] == true);
  CHECK(json["not_measured"]["photos"][0]["name"] == "b.jpg");
  CHECK(json["not_measured"]["photos_tried"] == 2);
  CHECK(json["not_measured"]["panels"][0] == "left door");
  CHECK(json["warnings"][0]["code"] == "board_distance");

  CHECK(run_program({"job", "set-aside", job, "--photo", "2"}).exit_code == 2);  // without a reason
  CHECK(run_program({"job", "set-aside", job, "--photo", "2", "--reason", "taken again"}).exit_code == 0);
  CHECK(run_program({"job", "panel", job, "left door", "--checked", "by lamp: nothing"}).exit_code == 0);
  CHECK(quote().out.find("artial") == std::string::npos);
  json = nlohmann::json::parse(folder.read("q.json"));
  CHECK(json["partial"] == false);
  CHECK(json["changes"].size() == 2);
}

TEST_CASE("quote: a dash is standard output, and a page goes only into a file of its kind", "[cli][quote]") {
  const TemporaryFolder folder;
  const std::string job = folder.file("job.json");
  run_program({"job", "add-hand", job, "--panel", "roof", "--diameter", "20", "--severity", "moderate"});
  const ProgramRun json = run_program({"quote", job, "--prices", sample_prices, "--json", "-"});
  CHECK(json.exit_code == 0);
  CHECK(nlohmann::json::parse(json.out)["total_minor"] > 0);
  CHECK_THAT(json.err, ContainsSubstring("Total"));
  const ProgramRun csv = run_program({"quote", job, "--prices", sample_prices, "--csv", "-", "--csv-comma"});
  CHECK(csv.out.starts_with("\xEF\xBB\xBFpanel;type;"));
  CHECK_THAT(csv.out, ContainsSubstring(";20,00;"));
  CHECK(run_program({"quote", job, "--prices", sample_prices, "--html", folder.file("x.pdf")}).exit_code ==
        2);
  const ProgramRun list = run_program({"job", "list", job, "--json", "-"});
  CHECK(nlohmann::json::parse(list.out)["spots_that_count"] == 1);
}

TEST_CASE("job: the numbers of claim and quote stand on the page and can be changed", "[cli][quote]") {
  const TemporaryFolder folder;
  const std::string job = folder.file("job.json");
  CHECK(run_program({"job", "new", job, "--claim", "C-17", "--valid-until", "2026-13-01"}).exit_code == 2);
  CHECK(run_program({"job", "new", job, "--claim", "C-17", "--valid-until", "2026-12-01"}).exit_code == 0);
  CHECK(run_program({"job", "edit", job, "--quote-number", "Q-4"}).exit_code == 0);
  run_program({"quote", job, "--prices", sample_prices, "--html", folder.file("q.html")});
  CHECK_THAT(folder.read("q.html"), ContainsSubstring("C-17") && ContainsSubstring("Q-4") &&
                                        ContainsSubstring("Valid until: 01/12/2026"));
}

TEST_CASE("quote: language, locale and paper are said, or stand in the profile", "[cli][quote]") {
  const TemporaryFolder folder;
  const std::string job = folder.file("job.json");
  run_program({"job", "add-hand", job, "--panel", "roof", "--diameter", "20", "--severity", "moderate"});
  const std::vector<std::string> quote{"quote", job, "--prices", sample_prices};
  const auto quoted = [&](std::vector<std::string> options) {
    options.insert(options.begin(), quote.begin(), quote.end());
    return run_program(options);
  };
  CHECK_THAT(quoted({"--language", "de"}).out,
             ContainsSubstring("Zwischensumme") && ContainsSubstring("20,0 mm"));
  const std::string profile = folder.file("shop.json");
  CHECK(run_program({"setup", profile, "--language", "de", "--locale", "de-CH", "--paper", "letter"})
            .exit_code == 0);
  CHECK_THAT(quoted({"--profile", profile, "--pdf", folder.file("q.pdf")}).out, ContainsSubstring("20.0 mm"));
  CHECK_THAT(folder.read("q.pdf"), ContainsSubstring("612 792"));
  quoted({"--locale", "en-US", "--pdf", folder.file("us.pdf"), "--html", folder.file("us.html")});
  CHECK_THAT(folder.read("us.pdf"), ContainsSubstring("612 792"));
  CHECK_THAT(folder.read("us.html"), ContainsSubstring("size: letter"));
  CHECK(quoted({"--language", "xx"}).exit_code == 2);
  CHECK(quoted({"--language", folder.write("mine.txt", "language = nl\n")}).exit_code == 4);
}

TEST_CASE("job: what is changed by hand keeps what was measured, who, when and why", "[cli][quote]") {
  const TemporaryFolder folder;
  const std::string job = folder.file("job.json");
  run_program({"job", "add", job, "--panel", "bonnet",
               reading_file(folder, "a", {graded(dent_at(30, 40, 15), "moderate")})});
  CHECK(run_program({"job", "mark", job, "--spot", "1", "--severity", "sharp"}).exit_code == 2);
  CHECK(run_program({"job", "mark", job, "--spot", "1", "--severity", "sharp", "--diameter", "18", "--reason",
                     "felt by hand", "--who", "bay 2"})
            .exit_code == 0);
  CHECK(run_program({"job", "void", job, "--spot", "1", "--reason", "a lamp"}).exit_code == 0);
  CHECK(run_program({"job", "unvoid", job, "--spot", "1", "--reason", "no lamp"}).exit_code == 0);
  CHECK(run_program({"job", "move", job, "--spot", "1", "--panel", "roof", "--reason", "wrong folder"})
            .exit_code == 0);
  CHECK(run_program({"job", "panel", job, "roof", "--rename", "roof, front"}).exit_code == 0);
  CHECK(run_program({"job", "edit", job, "--vehicle", "van"}).exit_code == 0);
  const Job read = read_job(job);
  CHECK(read.vehicle == "van");
  CHECK(read.spots[0].panel == "roof, front");
  CHECK(read.spots[0].diameter_mm.value == 18);
  CHECK(read.spots[0].measured->diameter_mm.value == 15);
  CHECK(read.spots[0].measured->severity == "moderate");
  CHECK_FALSE(read.spots[0].voided.has_value());
  REQUIRE(read.changes.size() == 7);
  CHECK(read.changes[0].who == "bay 2");
  CHECK(read.changes[0].why == "felt by hand");
  CHECK(read.changes[0].date.size() == 20);

  const ProgramRun quote =
      run_program({"quote", job, "--prices", sample_prices, "--html", folder.file("q.html")});
  for (const std::string& text : {quote.out, folder.read("q.html")})
    CHECK_THAT(text, ContainsSubstring("CHANGED BY HAND") && ContainsSubstring("moderate") &&
                         ContainsSubstring("felt by hand"));
}

TEST_CASE("job: marking spots and panels", "[cli][quote]") {
  const TemporaryFolder folder;
  const std::string job = folder.file("job.json");
  for (int i = 0; i < 3; ++i) run_program({"job", "add-hand", job, "--panel", "roof", "--diameter", "20"});
  CHECK(run_program({"job", "mark", job, "--spot", "1,3", "--fact", "body line", "--severity", "sharp",
                     "--beyond-pulling"})
            .exit_code == 0);
  CHECK(run_program({"job", "panel", job, "roof", "--fact", "aluminium", "--fact", "repainted"}).exit_code ==
        0);
  CHECK(run_program({"job", "panel", job, "Roof", "--drop-fact", "aluminium"}).exit_code == 0);
  const Job read = read_job(job);
  CHECK(read.spots[0].beyond_pulling);
  CHECK_FALSE(read.spots[1].beyond_pulling);
  CHECK(read.spots[2].facts == std::vector<std::string>{"body line"});
  CHECK(read.panels[0].facts == std::vector<std::string>{"repainted"});
  CHECK(run_program({"job", "mark", job, "--spot", "9", "--fact", "x"}).exit_code == 2);
}

TEST_CASE("quote: what is wrong is said with its exit code", "[cli][quote]") {
  const TemporaryFolder folder;
  const std::string job = folder.file("job.json");
  run_program({"job", "add-hand", job, "--panel", "roof", "--diameter", "20", "--severity", "wavy"});
  const ProgramRun unknown = run_program({"quote", job, "--prices", sample_prices});
  CHECK(unknown.exit_code == 4);
  CHECK_THAT(unknown.err, ContainsSubstring("wavy") && ContainsSubstring("job.json"));
  CHECK(unknown.out.empty());
  CHECK(run_program({"quote", job}).exit_code == 2);
  CHECK(run_program({"quote", folder.file("none.json"), "--prices", sample_prices}).exit_code == 4);
  CHECK(run_program({"quote", job, "--prices", folder.file("none.json")}).exit_code == 4);
  const std::string gapped = folder.write("gap.csv",
                                          "row,name,value,from_mm,to_mm,price\nsetting,currency,EUR,,,\n"
                                          "band,a,,0,10,\nband,b,,12,,\nprice,any,,,,5.00\n");
  const ProgramRun gap = run_program({"prices", gapped});
  CHECK(gap.exit_code == 4);
  CHECK_THAT(gap.err, ContainsSubstring("without a band for 10 to 12 mm"));
  folder.write("job.json", of_newer_version(folder.read("job.json")));
  CHECK_THAT(run_program({"quote", job, "--prices", sample_prices}).err, ContainsSubstring("newer version"));
}

TEST_CASE("job add: control characters never reach the file", "[cli][quote]") {
  const TemporaryFolder folder;
  const std::string job = folder.file("job.json");
  const ProgramRun run = run_program({"job", "add-hand", job, "--panel", "ro\x1b[31mof", "--diameter", "20"});
  CHECK(run.exit_code == 2);
  CHECK_FALSE(std::filesystem::exists(job));
}

TEST_CASE("job add killed at random moments leaves a readable job", "[cli][quote]") {
  const TemporaryFolder folder;
  const std::string job = folder.file("job.json");
  std::vector<Dent> dents;
  for (int i = 0; i < 60; ++i)
    dents.push_back(graded(dent_at(15.0 * (i % 10), 15.0 * (i / 10), 12), "moderate"));
  const std::string reading = reading_file(folder, "hail", dents);
  std::mt19937 random(6);
  std::uniform_int_distribution<int> microseconds(0, 40000);
  int finished = 0;
  for (int round = 0; round < 40; ++round) {
    const std::string panel = "panel " + std::to_string(round);
    const pid_t child = ::fork();
    if (child == 0) {
      const int quiet = ::open("/dev/null", O_WRONLY);
      ::dup2(quiet, STDOUT_FILENO);
      ::dup2(quiet, STDERR_FILENO);
      ::execl(RIPPLEGAUGE_PROGRAM, RIPPLEGAUGE_PROGRAM, "job", "add-hand", job.c_str(), "--panel",
              panel.c_str(), "--diameter", "20", "--count", "50", static_cast<char*>(nullptr));
      ::_exit(127);
    }
    std::this_thread::sleep_for(std::chrono::microseconds(microseconds(random)));
    ::kill(child, SIGKILL);
    int status = 0;
    REQUIRE(::waitpid(child, &status, 0) == child);
    if (!std::filesystem::exists(job)) continue;
    const Job read = read_job(job);
    REQUIRE(read.spots.size() % 50 == 0);  // all or nothing of each call
    finished = static_cast<int>(read.spots.size() / 50);
  }
  const ProgramRun after = run_program({"job", "add", job, "--panel", "roof", reading});
  CHECK(after.exit_code == 0);
  CHECK(read_job(job).spots.size() == static_cast<std::size_t>(50 * finished + 60));
}
