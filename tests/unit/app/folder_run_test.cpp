// A folder run as a front end sees it. What is measured and how is tested through the program.
#include "app/folder_run.hpp"

#include <algorithm>

#include "app/request.hpp"
#include "catch.hpp"
#include "files/job_file.hpp"
#include "files/severity_file.hpp"
#include "ripplegauge/core/errors.hpp"
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

namespace {

/// The same photo in different bytes: what is written after a JPEG's end changes nothing in its picture.
struct SetsOfPhotos : Estate {
  SetsOfPhotos() {
    fs::remove_all(folder / "roof");
    fs::remove(folder / "bonnet/1.jpg");
    options.said.pitch_mm = {14};
    options.said.bar_mm = 98.4;
    options.pictures = false;
    options.threads = 2;
  }
  void put(const std::string& name, const std::string& sample) const {
    fs::create_directories((folder / name).parent_path());
    folder.write(name, ScratchFolder::read(RIPPLEGAUGE_SOURCE_DIR "/samples/photos/" + sample) + name);
  }
  FolderSummary run() const {
    Watcher watcher;
    return run_folder(options, watcher);
  }
};

int spots_that_count(const Job& job) {
  return static_cast<int>(
      std::count_if(job.spots.begin(), job.spots.end(), [](const JobSpot& spot) { return !spot.voided; }));
}

std::vector<std::string> together(const FolderSummary& summary) {
  std::vector<std::string> sets;
  for (const FolderOutcome& photo : summary.photos) {
    if (photo.together.empty()) continue;
    sets.push_back(photo.name);
    for (const std::string& other : photo.together) sets.back() += " " + other;
  }
  return sets;
}

}  // namespace

TEST_CASE("photos of one minute are read as one, but only where that is asked for", "[folder_run][sets]") {
  SetsOfPhotos car;
  car.put("bonnet/1.jpg", "low-dark.jpg");  // 09:30
  car.put("bonnet/2.jpg", "low-dark.jpg");
  car.put("bonnet/3.jpg", "no-dent.jpg");  // another day
  const ScratchFolder elsewhere;
  car.options.job_file = elsewhere / "estate.json";
  FolderSummary summary = car.run();
  CHECK(together(summary).empty());
  CHECK(summary.job.spots.size() == 2);

  car.options.sets = true;
  car.options.pictures = true;
  summary = car.run();
  CHECK(together(summary) == std::vector<std::string>{"bonnet/1.jpg bonnet/2.jpg"});
  CHECK(summary.measured == 2);  // the third is known as it is
  CHECK(spots_that_count(summary.job) == 1);
  CHECK(summary.job.photos_to_do == 0);
  const Job job = read_job(car.options.job_file);
  REQUIRE(job.photos.size() == 5);
  CHECK(job.photos[3].name == "bonnet/1.jpg");
  CHECK(job.photos[4].together_with == job.photos[3].id);
  CHECK_FALSE(job.photos[4].picture.empty());
  CHECK(job.photos[4].picture != job.photos[3].picture);

  summary = car.run();
  CHECK(summary.measured == 0);
}

TEST_CASE("photos that only the clock joins count each by itself where they do not agree",
          "[folder_run][sets]") {
  SetsOfPhotos car;
  car.put("bonnet/1.jpg", "low-dark.jpg");   // 09:30, a dent
  car.put("bonnet/2.jpg", "low-light.jpg");  // 09:41, another one
  car.options.sets = true;
  car.options.set_gap_s = 3600;
  const FolderSummary summary = car.run();
  CHECK(together(summary).empty());
  CHECK(refused_count(summary) == 0);
  CHECK(summary.job.spots.size() == 2);
  REQUIRE(summary.remarks.size() == 1);
  CHECK_THAT(summary.remarks[0], Catch::Matchers::ContainsSubstring("bonnet/1.jpg, bonnet/2.jpg were not"));

  car.options.set_gap_s = 60;
  CHECK(car.run().remarks.empty());
}

TEST_CASE("a folder within the panel's is a set, and so is what the table calls one", "[folder_run][sets]") {
  SetsOfPhotos car;
  car.put("bonnet/dent/1.jpg", "low-dark.jpg");
  car.put("bonnet/dent/2.jpg", "low-dark.jpg");
  car.options.sets = true;
  car.options.set_gap_s = 1;
  CHECK(together(car.run()) == std::vector<std::string>{"bonnet/dent/1.jpg bonnet/dent/2.jpg"});

  car.options.sets = false;
  CHECK(together(car.run()).empty());
  const ScratchFolder elsewhere;
  elsewhere.write("values.csv", "photo,set\nbonnet/dent,first\n");
  car.options.values_file = elsewhere / "values.csv";
  CHECK(together(car.run()) == std::vector<std::string>{"bonnet/dent/1.jpg bonnet/dent/2.jpg"});
}

TEST_CASE("a set that somebody named and whose photos contradict each other is refused",
          "[folder_run][sets]") {
  SetsOfPhotos car;
  car.put("bonnet/dent/1.jpg", "low-dark.jpg");
  car.put("bonnet/dent/2.jpg", "no-dent.jpg");
  car.options.sets = true;
  const FolderSummary summary = car.run();
  REQUIRE(summary.photos.size() == 2);
  CHECK(summary.photos[0].refusal->code == "photos_contradict");
  CHECK(refused_count(summary) == 2);
  CHECK(summary.job.spots.empty());
}

TEST_CASE("more photos in one set than can be read together are the user's error", "[folder_run][sets]") {
  SetsOfPhotos car;
  for (int i = 0; i < 9; ++i) car.folder.write("bonnet/" + std::to_string(i) + ".jpg", std::to_string(i));
  const ScratchFolder elsewhere;
  elsewhere.write("values.csv", "photo,set\nbonnet,first\n");
  car.options.values_file = elsewhere / "values.csv";
  CHECK_THROWS_AS(car.run(), UsageError);
}
