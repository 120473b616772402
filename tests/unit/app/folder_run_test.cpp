// A folder run as a front end sees it. What is measured and how is tested through the program.
#include "ripplegauge/app/folder_run.hpp"

#include "catch.hpp"
#include "ripplegauge/app/request.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/files/job_file.hpp"
#include "ripplegauge/files/severity_file.hpp"
#include "scratch_folder.hpp"

using namespace ripplegauge;
namespace fs = std::filesystem;

namespace {

const fs::path data = RIPPLEGAUGE_SOURCE_DIR "/calibration";

struct Watcher : FolderRunWatcher {
  void begins(std::size_t photos) override { to_do = photos; }
  void measured(const FolderOutcome& photo, const Reading& reading, const AddedReading&) override {
    heard.push_back(photo.panel + ": " + photo.name + ": " +
                    (reading.refusal ? reading.refusal->code : "measured"));
  }
  bool stop() override { return heard.size() >= stop_after; }

  std::size_t to_do = 0, stop_after = 1000;
  std::vector<std::string> heard;
};

/// Two photos that nothing can decode, each in the folder of its panel.
struct Estate {
  Estate() {
    for (const char* panel : {"bonnet", "roof"}) {
      fs::create_directory(folder / panel);
      folder.write(std::string(panel) + "/1.jpg", std::string("no photo of the ") + panel);
    }
    options.folder = folder.path();
    options.said.pitch_mm = {14};
    options.data_folder = data;
    options.rules = read_severity_rules(data / "severity.json", data / "materials.json");
    options.program = "a test";
  }
  ScratchFolder folder;
  FolderRunOptions options;
};

}  // namespace

TEST_CASE("a watcher hears of every photo in the order of names, and the job holds it", "[folder_run]") {
  Estate estate;
  const ScratchFolder elsewhere;
  estate.options.job_file = elsewhere / "estate.json";
  estate.options.threads = GENERATE(1, 3);
  Watcher watcher;
  const FolderSummary summary = run_folder(estate.options, watcher);
  CHECK(watcher.to_do == 2);
  CHECK(watcher.heard == std::vector<std::string>{"bonnet: bonnet/1.jpg: file_unreadable",
                                                  "roof: roof/1.jpg: file_unreadable"});
  CHECK(refused_count(summary) == 2);
  CHECK(summary.measured == 2);
  CHECK(summary.left == 0);
  CHECK_FALSE(summary.stopped);
  const Job job = read_job(estate.options.job_file);
  REQUIRE(job.photos.size() == 2);
  CHECK(job.photos[0].panel == "bonnet");
  CHECK(summary.job.photos.size() == 2);
}

TEST_CASE("a run that is stopped says what is left", "[folder_run]") {
  Estate estate;
  Watcher watcher;
  watcher.stop_after = 0;
  const FolderSummary summary = run_folder(estate.options, watcher);
  CHECK(summary.stopped);
  CHECK(summary.measured + summary.left == 2);
  CHECK(summary.photos.size() == summary.measured);
}

TEST_CASE("a folder without photos is the user's error, no thread is ours", "[folder_run]") {
  Estate estate;
  Watcher watcher;
  const ScratchFolder empty;
  estate.options.folder = empty.path();
  CHECK_THROWS_AS(run_folder(estate.options, watcher), FileError);
  estate.options.threads = 0;
  CHECK_THROWS_AS(run_folder(estate.options, watcher), std::logic_error);
}
