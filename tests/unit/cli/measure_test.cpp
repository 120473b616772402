#include <fcntl.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <unistd.h>

#include <cstdlib>
#include <filesystem>

#include "catch.hpp"
#include "files/atomic_write.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "scratch_folder.hpp"

using namespace ripplegauge;
namespace fs = std::filesystem;

namespace {

int exit_code_of(const std::string& arguments, const fs::path& output) {
  const int status = std::system(
      (std::string(RIPPLEGAUGE_PROGRAM) + " " + arguments + " > '" + output.string() + "' 2>&1").c_str());
  return WEXITSTATUS(status);
}

Reading reading_with_low_at(double x_mm, double y_mm) {
  Reading reading;
  reading.photo.name = "invented.jpg";
  reading.status = Status::measured;
  reading.setup.board_pitch_mm = 14;
  Dent dent;
  dent.x_mm = x_mm;
  dent.y_mm = y_mm;
  dent.diameter_mm = dent.length_mm = dent.width_mm = {12, 11.8, 12.2};
  dent.half_diameter_mm = {7, 6.8, 7.2};
  dent.depth_mm = Quantity{0.2, 0.19, 0.21};
  dent.agreement = 1;
  reading.dents = {dent};
  return reading;
}

/// The most memory that the program had at once while it measured this photo, its libraries included.
double peak_megabytes(const fs::path& photo) {
  const pid_t child = ::fork();
  if (child == 0) {
    const int nowhere = ::open("/dev/null", O_WRONLY);
    ::dup2(nowhere, STDOUT_FILENO);
    ::dup2(nowhere, STDERR_FILENO);
    ::execl(RIPPLEGAUGE_PROGRAM, "ripplegauge", "measure", photo.c_str(), "--board-pitch", "14",
            "--board-distance", "288", nullptr);
    ::_exit(127);
  }
  int status = -1;
  rusage usage{};
  REQUIRE(::wait4(child, &status, 0, &usage) == child);
  REQUIRE(WIFEXITED(status));
  CHECK((WEXITSTATUS(status) == 0 || WEXITSTATUS(status) == 3));
  return static_cast<double>(usage.ru_maxrss) / 1024;
}

}  // namespace

TEST_CASE("a photo takes little memory, measured or refused", "[cli][memory]") {
  const char* name = GENERATE("no-dent", "hail", "refused-blur", "refused-no-card");
  INFO(name);
  const double megabytes =
      peak_megabytes(fs::path(RIPPLEGAUGE_SOURCE_DIR) / "samples/photos" / (std::string(name) + ".jpg"));
  CHECK(megabytes > 10);
  CHECK(megabytes < 120);
}

TEST_CASE("a refused photo keeps exit code 3 and its JSON, whatever else was asked for", "[cli]") {
  const ScratchFolder folder;
  const fs::path photo = fs::path(RIPPLEGAUGE_SOURCE_DIR) / "samples" / "photos" / "refused-no-card.jpg";
  const fs::path json = folder / "r.json";
  // The photo stands last: options that take lists must not swallow it.
  const int code =
      exit_code_of("measure --json '" + json.string() + "' --relief '" + (folder / "r.csv").string() +
                       "' --bar-length 98.4 --board-distance 288 --board-pitch 14 '" + photo.string() + "'",
                   folder / "out.txt");
  CHECK(code == 3);
  REQUIRE(fs::exists(json));
  const auto readings = read_readings(json);
  REQUIRE(readings.size() == 1);
  CHECK(readings[0].status == Status::refused);
  CHECK_FALSE(fs::exists(folder / "r.csv"));
}

TEST_CASE("compare does not advise to stop when nobody knows which spot is which", "[cli]") {
  const ScratchFolder folder;
  write_atomically(folder / "a.json", reading_to_json(reading_with_low_at(40, 50)));
  write_atomically(folder / "b.json", reading_to_json(reading_with_low_at(90, 60)));
  const fs::path out = folder / "out.txt";
  CHECK(exit_code_of("compare '" + (folder / "a.json").string() + "' '" + (folder / "b.json").string() + "'",
                     out) == 0);
  const std::string text = ScratchFolder::read(out);
  CHECK(text.find("no spot stands where") != std::string::npos);
  CHECK(text.find("Stop") == std::string::npos);
}
