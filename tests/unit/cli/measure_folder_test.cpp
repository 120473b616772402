#include <fcntl.h>
#include <pty.h>
#include <signal.h>
#include <sys/wait.h>
#include <unistd.h>

#include <chrono>
#include <random>
#include <set>
#include <thread>

#include "catch.hpp"
#include "files/job_file.hpp"
#include "photo/file_hash.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "run_program.hpp"

using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;
namespace fs = std::filesystem;

namespace {

const fs::path sample_photos = fs::path(RIPPLEGAUGE_SOURCE_DIR) / "samples/photos";

/// A photo without a card is refused in a fifth of a second. Bytes after a JPEG's end make it another file.
void put_refused(const TemporaryFolder& folder, const std::string& panel, int count) {
  const std::string bytes = ScratchFolder::read(sample_photos / "refused-no-card.jpg");
  fs::create_directories(folder.path() / "car" / panel);
  for (int i = 1; i <= count; ++i) {
    const std::string number = std::to_string(100 + i);
    folder.write("car/" + panel + "/" + number + ".jpg", bytes + panel + number);
  }
}

/// One tape for all photos: between the 240 and 285 mm of the two that can be measured, and not too far from
/// either.
std::vector<std::string> folder_command(const std::string& folder, const std::string& job) {
  return {"measure", folder,         "--board-pitch", "14",    "--board-distance",
          "262",     "--bar-length", "98.4",          "--job", job};
}

/// The program as a child process whose standard output goes to a file. It listens to signals even where the
/// tests were started in the background, by a shell that said not to.
pid_t start(const std::vector<std::string>& arguments, const std::string& out) {
  const pid_t child = ::fork();
  if (child != 0) return child;
  for (const int signal : {SIGINT, SIGTERM, SIGHUP}) ::signal(signal, SIG_DFL);
  const int file = ::open(out.c_str(), O_WRONLY | O_CREAT | O_APPEND, 0600);
  ::dup2(file, STDOUT_FILENO);
  ::dup2(file, STDERR_FILENO);
  std::vector<char*> argv{const_cast<char*>(RIPPLEGAUGE_PROGRAM)};
  for (const std::string& argument : arguments) argv.push_back(const_cast<char*>(argument.c_str()));
  argv.push_back(nullptr);
  ::execv(RIPPLEGAUGE_PROGRAM, argv.data());
  ::_exit(127);
}

int wait_for(pid_t child) {
  int status = 0;
  REQUIRE(::waitpid(child, &status, 0) == child);
  return status;
}

/// Ctrl-C again and again, in quick succession: a machine under load may hold up any one of them.
int interrupt_until_it_ends(pid_t child) {
  int status = 0;
  while (::waitpid(child, &status, WNOHANG) == 0) {
    ::kill(child, SIGINT);
    std::this_thread::sleep_for(std::chrono::milliseconds(2));
  }
  return status;
}

std::size_t count_of(const std::string& text, const std::string& what) {
  std::size_t count = 0;
  for (std::size_t at = text.find(what); at != std::string::npos; at = text.find(what, at + 1)) ++count;
  return count;
}

/// Each photo's bytes once: measured, and not measured twice.
void check_photos_once(const Job& job, std::size_t expected) {
  std::set<std::string> hashes;
  for (const JobPhoto& photo : job.photos) hashes.insert(photo.sha256);
  CHECK(hashes.size() == job.photos.size());
  CHECK(job.photos.size() == expected);
}

/// What must not depend on how the run went: everything but the times.
std::string without_times(Job job) {
  for (JobPhoto& photo : job.photos) photo.added.clear();
  for (JobSpot& spot : job.spots) spot.added.clear();
  return job_to_json(job);
}

}  // namespace

TEST_CASE("a folder: every photo measured once, the same on one thread and on three", "[cli][folder]") {
  const TemporaryFolder folder;
  fs::create_directories(folder.path() / "car/bonnet");
  fs::create_directories(folder.path() / "car/roof");
  fs::copy(sample_photos / "low-dark.jpg", folder.path() / "car/bonnet/2.jpg");
  fs::copy(sample_photos / "low-dark.jpg", folder.path() / "car/roof/copy.jpg");
  fs::copy(sample_photos / "no-dent.jpg", folder.path() / "car/roof/1.jpg");
  fs::copy(sample_photos / "refused-no-card.jpg", folder.path() / "car/wing-1.jpg");
  folder.write("car/bonnet/1.jpg", "this is no photo");
  const std::string car = folder.file("car"), job = folder.file("job.json"), json = folder.file("r.json");

  auto command = folder_command(car, job);
  command.insert(command.end(), {"--threads", "3", "--json", json});
  const ProgramRun run = run_program(command);
  CHECK(run.exit_code == 3);
  CHECK(run.err.empty());
  CHECK_THAT(run.out, ContainsSubstring("[1/4] bonnet/1.jpg: not measured") &&
                          ContainsSubstring("[2/4] bonnet/2.jpg: 1 low (spot 1)") &&
                          ContainsSubstring("[3/4] roof/1.jpg: no dent") &&
                          ContainsSubstring("[4/4] wing: wing-1.jpg: not measured"));
  CHECK_THAT(run.out, ContainsSubstring("4 photos: 1 with spots, 1 without, 2 not measured") &&
                          ContainsSubstring("roof/copy.jpg is the same photo as bonnet/2.jpg") &&
                          ContainsSubstring("Lay the printed card flat") && ContainsSubstring("#####"));
  CHECK(run.out.find('\r') == std::string::npos);
  CHECK(run.out.find('\033') == std::string::npos);

  const Job measured = read_job(job);
  check_photos_once(measured, 4);
  REQUIRE(measured.spots.size() == 1);
  CHECK(measured.spots[0].panel == "bonnet");
  CHECK_FALSE(measured.spots[0].severity.empty());
  CHECK(measured.photos[1].name == "bonnet/2.jpg");
  CHECK_THAT(measured.photos[1].measured_with, ContainsSubstring("stripes 14 mm, tape 262 mm, bar 98.4 mm"));
  CHECK(fs::is_regular_file(folder.path() / measured.photos[1].picture));
  CHECK(read_readings(json).size() == 4);

  const std::string bytes = folder.read("job.json"), readings = folder.read("r.json");
  const ProgramRun again = run_program(command);
  CHECK(again.exit_code == 3);  // two photos still want taking again
  CHECK_THAT(again.out,
             ContainsSubstring("(4 known from before)") && ContainsSubstring("Lay the printed card flat"));
  CHECK(again.out.find("[1/") == std::string::npos);
  CHECK(folder.read("job.json") == bytes);
  CHECK(folder.read("r.json") == readings);

  auto single = folder_command(car, folder.file("single.json"));
  single.insert(single.end(), {"--threads", "1", "--no-pictures"});
  CHECK(run_program(single).exit_code == 3);
  Job alone = read_job(folder.file("single.json"));
  CHECK(alone.photos[1].picture.empty());
  alone.photos[1].picture = measured.photos[1].picture;
  CHECK(without_times(alone) == without_times(measured));
}

TEST_CASE("a folder without a job gives an array of readings", "[cli][folder]") {
  const TemporaryFolder folder;
  put_refused(folder, "roof", 1);
  CHECK(run_program({"measure", folder.file("car"), "--board-pitch", "14", "--json", folder.file("r.json")})
            .exit_code == 3);
  CHECK(folder.read("r.json").starts_with("["));
  put_refused(folder, "roof", 2);
  const ProgramRun run =
      run_program({"measure", folder.file("car"), "--board-pitch", "14", "--json", folder.file("r.json")});
  CHECK(run.exit_code == 3);
  const auto readings = read_readings(folder.file("r.json"));
  REQUIRE(readings.size() == 2);
  CHECK(readings[0].photo.name == folder.file("car/roof/101.jpg"));
  CHECK(readings[1].status == Status::refused);
  CHECK(folder.file_count() == 2);  // the photos and the readings
}

TEST_CASE("other values measure a photo again, the same do not", "[cli][folder]") {
  const TemporaryFolder folder;
  put_refused(folder, "roof", 2);
  const std::string car = folder.file("car"), job = folder.file("job.json");
  auto command = folder_command(car, job);
  CHECK(run_program(command).exit_code == 3);
  CHECK_THAT(run_program(command).out, ContainsSubstring("(2 known from before)"));
  command[7] = "98.5";
  CHECK_THAT(run_program(command).out, ContainsSubstring("[2/2] roof/102.jpg"));
  CHECK(read_job(job).photos.size() == 4);
  CHECK_THAT(run_program(command).out, ContainsSubstring("(2 known from before)"));
}

TEST_CASE("a folder that cannot be measured is told before anything is written", "[cli][folder]") {
  const TemporaryFolder folder;
  fs::create_directories(folder.path() / "empty");
  put_refused(folder, "roof", 1);
  const std::string job = folder.file("job.json"), car = folder.file("car");
  CHECK(run_program(folder_command(folder.file("empty"), job)).exit_code == 4);
  CHECK(run_program(folder_command(car, folder.file("none/job.json"))).exit_code == 4);
  CHECK(run_program({"measure", car, "--job", job}).exit_code == 2);  // no pitch
  CHECK(run_program({"measure", car, car, "--job", job, "--board-pitch", "14"}).exit_code == 2);
  CHECK(run_program({"measure", car, "--job", job, "--board-pitch", "14", "--picture", "a.png"}).exit_code ==
        2);
  CHECK(run_program({"measure", car, "--job", job, "--board-pitch", "14", "--threads", "0"}).exit_code == 2);
  CHECK(run_program({"measure", car, "--job", job, "--board-pitch", "14,15"}).exit_code == 2);
  auto pattern = folder_command(car, job);
  pattern.insert(pattern.end(), {"--panel-pattern", "roof"});
  CHECK(run_program(pattern).exit_code == 2);
  CHECK(run_program({"measure", car + "/roof/101.jpg", "--job", job, "--board-pitch", "14"}).exit_code == 2);
  CHECK_FALSE(fs::exists(job));
  folder.write("job.json", R"({"schema": 99, "vehicle": "", "notes": "", "panels": [], "spots": []})");
  const ProgramRun newer = run_program(folder_command(car, job));
  CHECK(newer.exit_code == 4);
  CHECK_THAT(newer.err, ContainsSubstring("newer version"));
  CHECK(newer.out.empty());
}

TEST_CASE("photos whose panel nobody can tell are named, the others measured", "[cli][folder]") {
  const TemporaryFolder folder;
  put_refused(folder, "roof", 1);
  const std::string bytes = ScratchFolder::read(sample_photos / "refused-no-card.jpg");
  folder.write("car/wing_1.jpg", bytes + "wing");
  auto command = folder_command(folder.file("car"), folder.file("job.json"));
  command.insert(command.end(), {"--panel-pattern", "{panel}_#"});
  const ProgramRun run = run_program(command);
  CHECK(run.exit_code == 3);
  CHECK_THAT(run.out,
             ContainsSubstring("[1/1] wing: wing_1.jpg") && ContainsSubstring("does not fit the pattern"));
  const Job job = read_job(folder.file("job.json"));
  REQUIRE(job.photos.size() == 2);  // the other one stands there as refused, so that a quote tells of it
  CHECK(job.photos[0].panel.empty());
  CHECK(not_measured_in(job).photos.size() == 2);
}

TEST_CASE("a folder with two boards takes what differs from a table", "[cli][folder]") {
  const TemporaryFolder folder;
  fs::create_directories(folder.path() / "car" / "bonnet");
  fs::copy_file(sample_photos / "low-dark.jpg", folder.path() / "car/bonnet/1.jpg");
  fs::copy_file(sample_photos / "low-light.jpg", folder.path() / "car/bonnet/2.jpg");
  const std::string values = folder.write(
      "values.csv", "photo,board_pitch_mm,board_distance_mm,bar_length_mm,panel\n2.jpg,12,237,100,door\n");
  const std::vector<std::string> command = {
      "measure",       folder.file("car"), "--board-pitch", "14",    "--board-distance",
      "288",           "--bar-length",     "98.4",          "--job", folder.file("job.json"),
      "--no-pictures", "--values",         values};
  CHECK(run_program(command).exit_code == 0);
  const Job job = read_job(folder.file("job.json"));
  REQUIRE(job.spots.size() == 2);
  CHECK(job.spots[0].panel == "bonnet");
  CHECK(job.spots[1].panel == "door");
  CHECK(job.photos[0].setup->board_pitch_mm == 14);
  CHECK(job.photos[1].setup->board_pitch_mm == 12);
  CHECK_THAT(run_program(command).out, ContainsSubstring("2 known from before"));
}

TEST_CASE("Ctrl-C or another polite signal ends a run in good order, and the next one goes on",
          "[cli][folder]") {
  const int signal = GENERATE(SIGINT, SIGTERM, SIGHUP);
  INFO("signal " << signal);
  const TemporaryFolder folder;
  put_refused(folder, "roof", 14);
  const std::string out = folder.file("out"), job = folder.file("job.json"), json = folder.file("r.json");
  auto command = folder_command(folder.file("car"), job);
  command.insert(command.end(), {"--json", json});
  const pid_t child = start(command, out);
  while (count_of(folder.read("out"), "] roof/") < 3)
    std::this_thread::sleep_for(std::chrono::milliseconds(5));
  ::kill(child, signal);
  const int status = wait_for(child);
  CHECK(WIFSIGNALED(status));
  CHECK(WTERMSIG(status) == signal);
  const std::string first = folder.read("out");
  CHECK_THAT(first, ContainsSubstring("still to do") && ContainsSubstring("Stopped."));
  const std::size_t reported = count_of(first, "] roof/");
  CHECK(reported < 14);
  check_photos_once(read_job(job), reported);
  CHECK(read_readings(json).size() == reported);
  CHECK(folder.file_count() == 4);  // photos, job, readings, what was printed: nothing half-written

  const ProgramRun rest = run_program(command);
  CHECK(rest.exit_code == 3);
  CHECK(count_of(rest.out, "] roof/") == 14 - reported);
  check_photos_once(read_job(job), 14);
  CHECK(read_readings(json).size() == 14);
}

TEST_CASE("a second Ctrl-C does not wait for the photos at work", "[cli][folder]") {
  const TemporaryFolder folder;
  fs::create_directories(folder.path() / "car/roof");
  fs::copy(sample_photos / "hail.jpg", folder.path() / "car/roof/1.jpg");  // a second's work or more
  const std::string out = folder.file("out"), job = folder.file("job.json");
  const pid_t child = start(folder_command(folder.file("car"), job), out);
  while (!fs::exists(job)) std::this_thread::sleep_for(std::chrono::milliseconds(1));
  std::this_thread::sleep_for(std::chrono::milliseconds(20));  // into the photo
  const int status = interrupt_until_it_ends(child);
  REQUIRE(WIFSIGNALED(status));
  CHECK(WTERMSIG(status) == SIGINT);
  CHECK(folder.read("out").empty());
  CHECK(read_job(job).photos.empty());
}

TEST_CASE("killed at any moment, a run loses nothing that it had reported", "[cli][folder]") {
  const TemporaryFolder folder;
  put_refused(folder, "roof", 16);
  const std::string job = folder.file("job.json");
  const auto command = folder_command(folder.file("car"), job);
  std::mt19937 random(11);
  std::uniform_int_distribution<int> milliseconds(0, 700);
  std::size_t known = 0;
  for (int round = 0; round < 8; ++round) {
    const std::string out = "out" + std::to_string(round);
    const pid_t child = start(command, folder.file(out));
    std::this_thread::sleep_for(std::chrono::milliseconds(milliseconds(random)));
    ::kill(child, SIGKILL);
    wait_for(child);
    if (!fs::exists(job)) continue;
    const Job read = read_job(job);
    CHECK(read.photos.size() >= known + count_of(folder.read(out), "] roof/"));
    check_photos_once(read, read.photos.size());
    known = read.photos.size();
  }
  CHECK(run_program(command).exit_code == 3);
  check_photos_once(read_job(job), 16);
}

TEST_CASE("two runs and a hand entry on one job lose nothing", "[cli][folder]") {
  const TemporaryFolder folder;
  put_refused(folder, "roof", 5);
  put_refused(folder, "bonnet", 5);
  const std::string job = folder.file("job.json");
  const pid_t roof = start(folder_command(folder.file("car/roof"), job), folder.file("out1"));
  const pid_t both = start(folder_command(folder.file("car"), job), folder.file("out2"));
  for (int i = 0; i < 5; ++i)
    CHECK(run_program({"job", "add-hand", job, "--panel", "wing", "--diameter", "20"}).exit_code == 0);
  CHECK(WEXITSTATUS(wait_for(roof)) == 3);
  CHECK(WEXITSTATUS(wait_for(both)) == 3);
  const Job read = read_job(job);
  CHECK(read.spots.size() == 5);
  check_photos_once(read, 10);
}

TEST_CASE("on a terminal there is a bar, and a line for what needs attention", "[cli][folder]") {
  const TemporaryFolder folder;
  put_refused(folder, "roof", 2);
  const auto command = folder_command(folder.file("car"), folder.file("job.json"));
  winsize size{24, 60, 0, 0};
  int terminal = -1;
  const pid_t child = ::forkpty(&terminal, nullptr, nullptr, &size);
  REQUIRE(child >= 0);
  if (child == 0) {
    ::setenv("TERM", "xterm", 1);
    std::vector<char*> argv{const_cast<char*>(RIPPLEGAUGE_PROGRAM)};
    for (const std::string& argument : command) argv.push_back(const_cast<char*>(argument.c_str()));
    argv.push_back(nullptr);
    ::execv(RIPPLEGAUGE_PROGRAM, argv.data());
    ::_exit(127);
  }
  std::string text;
  char block[4096];
  for (ssize_t count = 0; (count = ::read(terminal, block, sizeof block)) > 0;)
    text.append(block, static_cast<std::size_t>(count));
  ::close(terminal);
  CHECK(WEXITSTATUS(wait_for(child)) == 3);
  CHECK_THAT(text, ContainsSubstring("\r[........................] 0 of 2") &&
                       ContainsSubstring("\r[############............] 1 of 2, about"));
  CHECK_THAT(text, ContainsSubstring("\r\033[K[1/2] roof/101.jpg: not measured"));
}

TEST_CASE("a link planted among a job's pictures is replaced, what it leads to left alone", "[cli][folder]") {
  const TemporaryFolder folder;
  fs::create_directories(folder.path() / "car/roof");
  fs::copy_file(sample_photos / "low-dark.jpg", folder.path() / "car/roof/a.jpg");
  const std::string precious = folder.write("precious.txt", "mine"), job = folder.file("job.json");
  const std::string hash = sha256_of_file(sample_photos / "low-dark.jpg").substr(0, 8);
  const fs::path pictures = folder.path() / "job-pictures", picture = pictures / ("a-" + hash + ".jpg");
  fs::create_directories(pictures);
  fs::create_symlink("../precious.txt", picture);
  CHECK(run_program(folder_command(folder.file("car"), job)).exit_code == 0);
  CHECK(folder.read("precious.txt") == "mine");
  CHECK_FALSE(fs::is_symlink(picture));
  CHECK(ScratchFolder::read(picture).starts_with("\xFF\xD8\xFF"));

  // A folder of pictures that leads elsewhere gets none.
  fs::remove_all(pictures);
  fs::remove(job);
  fs::create_directories(folder.path() / "elsewhere");
  fs::create_directory_symlink("elsewhere", pictures);
  const ProgramRun run = run_program(folder_command(folder.file("car"), job));
  CHECK(run.exit_code == 0);
  CHECK_THAT(run.out, ContainsSubstring("no annotated picture") && ContainsSubstring("is a link"));
  CHECK(fs::is_empty(folder.path() / "elsewhere"));
  CHECK(read_job(job).spots.size() == 1);
}

TEST_CASE("a photo made to break its decoder is refused, and the others of its folder are measured",
          "[cli][folder]") {
  const TemporaryFolder folder;
  put_refused(folder, "roof", 2);
  for (const auto& file : fs::directory_iterator(fs::path(RIPPLEGAUGE_SOURCE_DIR) / "tests/fuzz/corpus/heif"))
    fs::copy_file(file, folder.path() / "car/roof" / file.path().filename());
  const ProgramRun run = run_program(folder_command(folder.file("car"), folder.file("job.json")));
  CHECK(run.exit_code == 3);
  CHECK_THAT(run.out, ContainsSubstring("iden-loop.heic: not measured"));
  const Job job = read_job(folder.file("job.json"));
  CHECK(job.photos.size() ==
        static_cast<std::size_t>(std::distance(fs::directory_iterator(folder.path() / "car/roof"), {})));
}
