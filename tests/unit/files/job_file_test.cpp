#include "files/job_file.hpp"

#include <fcntl.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <algorithm>
#include <random>
#include <set>
#include <thread>

#include "catch.hpp"
#include "ripplegauge/core/errors.hpp"
#include "scratch_folder.hpp"
#include "unit/quote/made_up.hpp"

using namespace ripplegauge;
using namespace made_up;
using Catch::Matchers::ContainsSubstring;

namespace {

Job full_job() {
  Job job;
  job.vehicle = "blauer Kombi, „Platz 2“";
  job.notes = "two lines\nof notes";
  Dent deep = dent_at(12.5, -3.25, 20.4);
  deep.severity_reason = "because";
  deep.notes = {"near the edge of the card"};
  Dent unknown_depth = dent_at(60, 40, 9);
  unknown_depth.depth_mm.reset();
  unknown_depth.kind = Kind::high;
  add_reading(job, "bonnet", reading_of("a.jpg", {deep, unknown_depth}),
              {"ripplegauge 0.1.0", "then", "pictures/a.png", "bar 98 mm"});
  Reading refused = reading_of("b.jpg", {});
  refused.status = Status::refused;
  refused.refusal = Refusal{"blur", "It is blurred.", "Hold still."};
  add_reading(job, "bonnet", refused, {"ripplegauge 0.1.0", "then", ""});
  add_by_hand(job, by_hand("roof", 33, "deep", {"body line"}), "now");
  spot_with_id(job, 3).counts_alone = true;
  spot_with_id(job, 3).beyond_pulling = true;
  void_spot(job, 1, "a reflection of the lamp", "later");
  change_spot(job, 2, {.severity = "deep"}, {"bay 2", "felt by hand", "later"});
  spot_with_id(job, 1).severities_allowed = {"light", "deep"};
  set_photo_aside(job, 2, {"bay 2", "taken again", "later"});
  job.photos[0].warnings = {{"board_distance", "The tape may be wrong."}};
  job.photos[0].setup = JobPhotoSetup{14, 98.4, "corner", 288, Quantity{290, 280, 300}};
  job.photos[1].together_with = 1;
  job.photos_to_do = 3;
  panel_named(job, "bonnet").facts = {"aluminium"};
  panel_named(job, "bonnet").notes = "dusty";
  set_item(job, "remove and refit", "roof", 2);
  set_item(job, "collection", "", 1);
  return job;
}

/// A job file with one part of it replaced.
std::string text_with(const std::string& what, const std::string& by) {
  std::string text = job_to_json(full_job());
  const auto at = text.find(what);
  REQUIRE(at != std::string::npos);
  return text.replace(at, what.size(), by);
}

std::string refusal_of(const std::string& text) {
  return message_of<FileError>([&] { job_from_json(text, "job.json"); });
}

}  // namespace

TEST_CASE("a job survives the way to a file and back", "[job_file]") {
  const std::string text = job_to_json(full_job());
  const Job job = job_from_json(text, "job.json");
  CHECK(job_to_json(job) == text);
  REQUIRE(job.spots.size() == 3);
  CHECK(job.vehicle == full_job().vehicle);
  CHECK(job.notes == full_job().notes);
  CHECK(job.spots[0].voided->reason == "a reflection of the lamp");
  CHECK(job.spots[0].position_mm == PointMm{12.5, -3.25});
  CHECK(job.spots[0].doubts == std::vector<std::string>{"near the edge of the card"});
  CHECK(job.spots[0].severities_allowed == std::vector<std::string>{"light", "deep"});
  CHECK(job.spots[1].severity == "deep");
  CHECK(job.spots[1].measured->severity == "light");
  CHECK(job.photos[0].warnings.at(0).message == "The tape may be wrong.");
  CHECK(job.photos[0].setup->board_distance_mm == Quantity{290, 280, 300});
  CHECK(job.photos[1].set_aside->who == "bay 2");
  CHECK(job.changes.size() == 3);
  CHECK(job.photos_to_do == 3);
  CHECK(job.spots[0].number_in_photo == 1);
  CHECK_FALSE(job.spots[1].depth_mm.has_value());
  CHECK(job.spots[1].kind == Kind::high);
  CHECK(job.spots[2].by_hand());
  CHECK(job.spots[2].counts_alone);
  CHECK(job.spots[2].beyond_pulling);
  CHECK(job.spots[2].facts == std::vector<std::string>{"body line"});
  REQUIRE(job.photos.size() == 2);
  CHECK(job.photos[0].picture == "pictures/a.png");
  CHECK(job.photos[0].sha256 == "hash of a.jpg");
  CHECK(job.photos[0].program == "ripplegauge 0.1.0");
  CHECK(job.photos[0].measured_with == "bar 98 mm");
  CHECK(job.photos[1].refusal->remedy == "Hold still.");
  CHECK(job.items.size() == 2);
}

TEST_CASE("random jobs give the same bytes after reading", "[job_file]") {
  std::mt19937 random(3);
  std::uniform_real_distribution<double> size_mm(0.5, 200);
  for (int round = 0; round < 50; ++round) {
    Job job;
    for (int photo = 0; photo < 4; ++photo) {
      std::vector<Dent> dents;
      for (int i = 0; i < round % 5; ++i)
        dents.push_back(
            dent_at(size_mm(random) - 100, size_mm(random), size_mm(random), 0.01 * size_mm(random)));
      for (Dent& dent : dents) {  // an interval of a small spot may not reach below nothing
        dent.diameter_mm.low = std::max(0.0, dent.diameter_mm.low);
        dent.length_mm = dent.width_mm = dent.diameter_mm;
      }
      add_reading(job, photo % 2 == 0 ? "roof" : "bonnet", reading_of(std::to_string(photo), dents),
                  {"p", "t", ""});
    }
    const std::string text = job_to_json(job);
    REQUIRE(job_to_json(job_from_json(text, "job")) == text);
  }
}

TEST_CASE("a job of a newer version is refused with a message", "[job_file]") {
  CHECK_THAT(refusal_of(text_with("\"schema\": 2", "\"schema\": 3")), ContainsSubstring("newer version") &&
                                                                          ContainsSubstring("schema 3") &&
                                                                          ContainsSubstring("job.json"));
  // Even when that version has keys and values that this one knows nothing of.
  CHECK_THAT(refusal_of(R"({"schema": 7, "hover": true})"), ContainsSubstring("newer version"));
}

TEST_CASE("hostile and damaged jobs are refused, and the message says where", "[job_file]") {
  struct Row {
    const char *what, *by, *says;
  };
  const Row row = GENERATE(
      Row{"\"schema\": 2", "\"schema\": 0", "schema"}, Row{"\"schema\": 2", "\"schema\": \"1\"", "schema"},
      Row{"\"vehicle\"", "\"owner\"", "owner"}, Row{"\"value\": 20.4", "\"value\": -20.4", "value"},
      Row{"\"value\": 20.4", "\"value\": 1e999", "line"}, Row{"\"value\": 20.4", "\"value\": NaN", "line"},
      Row{"\"value\": 20.4", "\"value\": 1e300", "value"}, Row{"\"value\": 20.4", "\"value\": null", "value"},
      Row{"\"value\": 20.4", "\"value\": 30", "diameter"}, Row{"\"id\": 2,", "\"id\": 1,", "twice"},
      Row{"\"id\": 2,", "\"id\": 2, \"id\": 2,", "id"}, Row{"\"id\": 2,", "\"id\": 1.5,", "id"},
      Row{"\"id\": 2,", "\"id\": -2,", "id"}, Row{"\"photo\": 1", "\"photo\": 9", "photo 9"},
      Row{"\"source\": \"photo\"", "\"source\": \"hand\"", "photo"},
      Row{"\"kind\": \"high\"", "\"kind\": \"odd\"", "kind"},
      Row{"\"reason\": \"a reflection of the lamp\"", "\"reason\": \"\"", "reason"},
      Row{"\"y_mm\": -3.25,", "", "y_mm"}, Row{"bonnet", "\xFF\xFE", ""},
      Row{"bonnet", "bon\\u0000net", "control"}, Row{"\"count\": 2", "\"count\": 0", "count"});
  CAPTURE(row.what, row.by);
  const std::string message = refusal_of(text_with(row.what, row.by));
  CHECK_THAT(message, ContainsSubstring("job.json") && ContainsSubstring(row.says));
}

TEST_CASE("every cut of a job file is refused or whole", "[job_file]") {
  const std::string text = job_to_json(full_job());
  int refused = 0;
  for (std::size_t length = 0; length + 2 < text.size(); length += 7)
    refused += refusal_of(text.substr(0, length)).empty() ? 0 : 1;
  CHECK(refused == static_cast<int>((text.size() - 3) / 7 + 1));
}

TEST_CASE("names are one line, notes may have several; more spots than a vehicle has are refused",
          "[job_file]") {
  CHECK_THAT(refusal_of(text_with("bonnet", "bon\\nnet")), ContainsSubstring("one line"));
  CHECK(refusal_of(text_with("dusty", "dusty\\nand wet")).empty());
  std::string spots;
  for (int id = 1; id <= 10'001; ++id)
    spots += std::string(id > 1 ? "," : "") + "{\"id\":" + std::to_string(id) + "}";
  CHECK_THAT(refusal_of("{\"schema\":1,\"panels\":[],\"spots\":[" + spots + "]}"),
             ContainsSubstring("spots"));
}

TEST_CASE("deep nesting and no JSON at all are refused", "[job_file]") {
  CHECK_FALSE(refusal_of(std::string(100000, '[')).empty());
  CHECK_FALSE(
      refusal_of("{\"schema\":1,\"notes\":" + std::string(5000, '[') + std::string(5000, ']') + "}").empty());
  CHECK_FALSE(refusal_of("").empty());
  CHECK_FALSE(refusal_of("[]").empty());
  CHECK_FALSE(refusal_of("null").empty());
  CHECK_FALSE(refusal_of(std::string("{\0}", 3)).empty());
}

TEST_CASE("a job that could not be read back is not written", "[job_file]") {
  Job job = full_job();
  job.vehicle = "an escape \x1b[31m sequence";
  CHECK_THROWS_AS(job_to_json(job), UsageError);
  job = full_job();
  job.spots[0].panel = "nowhere";
  CHECK_THROWS_AS(job_to_json(job), UsageError);
}

TEST_CASE("changing a job: new, there, and nothing changed when something fails", "[job_file]") {
  const ScratchFolder folder;
  const auto file = folder / "job.json";
  const auto nothing = [](Job&) { return true; };
  CHECK_THROWS_AS(change_job(file, JobMustBe::there, nothing), FileError);
  change_job(file, JobMustBe::new_file, [](Job& job) { return job.vehicle = "one", true; });
  CHECK_THROWS_AS(change_job(file, JobMustBe::new_file, nothing), FileError);
  const std::string before = ScratchFolder::read(file);

  CHECK_THROWS_AS(change_job(file, JobMustBe::there,
                             [](Job& job) -> bool {
                               job.vehicle = "two";
                               throw UsageError("no");
                             }),
                  UsageError);
  change_job(file, JobMustBe::there, [](Job& job) { return job.vehicle = "two", false; });
  CHECK(ScratchFolder::read(file) == before);
  CHECK(folder.file_count() == 1);  // no lock file, no temporary

  CHECK_THROWS_AS(change_job(folder / "no such folder" / "job.json", JobMustBe::either, nothing), FileError);
}

TEST_CASE("a job behind a symbolic link stays behind it", "[job_file]") {
  const ScratchFolder folder, elsewhere;
  change_job(elsewhere / "job.json", JobMustBe::new_file, [](Job&) { return true; });
  std::filesystem::create_symlink(elsewhere / "job.json", folder / "link.json");
  change_job(folder / "link.json", JobMustBe::there, [](Job& job) { return job.vehicle = "moved", true; });
  CHECK(std::filesystem::is_symlink(folder / "link.json"));
  CHECK(read_job(elsewhere / "job.json").vehicle == "moved");
}

namespace {

/// Adds spots by hand in a process of its own, one change each; stops after `count`.
pid_t adder(const std::filesystem::path& file, const std::string& panel, int count) {
  const pid_t child = ::fork();
  if (child != 0) return child;
  try {
    for (int i = 0; i < count; ++i)
      change_job(file, JobMustBe::either, [&](Job& job) {
        add_by_hand(job, by_hand(panel, 20, "light"), "now");
        return true;
      });
  } catch (...) {
    ::_exit(1);
  }
  ::_exit(0);
}

}  // namespace

TEST_CASE("processes that add at once lose nothing", "[job_file]") {
  const ScratchFolder folder;
  const auto file = folder / "job.json";
  constexpr int processes = 4, each = 25;
  std::vector<pid_t> children;
  for (int i = 0; i < processes; ++i) children.push_back(adder(file, "panel " + std::to_string(i), each));
  for (const pid_t child : children) {
    int status = -1;
    REQUIRE(::waitpid(child, &status, 0) == child);
    CHECK(status == 0);
  }
  const Job job = read_job(file);
  REQUIRE(job.spots.size() == processes * each);
  std::set<int> ids;
  for (const JobSpot& spot : job.spots) ids.insert(spot.id);
  CHECK(ids.size() == processes * each);
  CHECK(job.panels.size() == processes);
}

TEST_CASE("killed at any moment, the job file is readable and has lost nothing that was there",
          "[job_file]") {
  const ScratchFolder folder;
  const auto file = folder / "job.json";
  change_job(file, JobMustBe::new_file, [](Job& job) {
    for (int i = 0; i < 200; ++i) add_by_hand(job, by_hand("roof", 20, "light"), "now");
    return true;
  });
  std::mt19937 random(5);
  double longest_us = 20000;
  std::size_t before = 200;
  int grown = 0;
  for (int round = 0; round < 60; ++round) {
    const pid_t child = adder(file, "roof", 1000);
    std::this_thread::sleep_for(std::chrono::microseconds(
        std::uniform_int_distribution<int>(0, static_cast<int>(longest_us))(random)));
    ::kill(child, SIGKILL);
    int status = 0;
    REQUIRE(::waitpid(child, &status, 0) == child);
    REQUIRE(WIFSIGNALED(status));
    const Job job = read_job(file);
    REQUIRE(job.spots.size() >= before);
    grown += job.spots.size() > before ? 1 : 0;
    // On a busy machine nobody may have come to work in that time.
    if (grown == 0) longest_us = std::min(1.2 * longest_us, 1e6);
    before = job.spots.size();
  }
  CHECK(grown > 0);  // else nobody was ever killed while at work
}
