// What a package would hold, in a folder of its own.
#include <algorithm>
#include <fstream>

#include "catch.hpp"
#include "ripplegauge/photo/photo.hpp"
#include "run_program.hpp"

namespace fs = std::filesystem;
using Catch::Matchers::ContainsSubstring;
using namespace ripplegauge;

namespace {

int shell(const std::string& command) {
  const int status = std::system(("(" + command + ") >/dev/null 2>&1").c_str());
  return WIFEXITED(status) ? WEXITSTATUS(status) : -1;
}

/// Of a shell command, with the exit code in its last line.
std::string output_of(const TemporaryFolder& folder, const std::string& command) {
  const int status = std::system(("unset RIPPLEGAUGE_DATA; (" + command + ") >'" + folder.file("out") +
                                  "' 2>&1; echo exit $? >>'" + folder.file("out") + "'")
                                     .c_str());
  REQUIRE(status == 0);
  return folder.read("out");
}

/// The program under `usr` measures the photo that comes with it, with the data that come with it.
void check_installed(const TemporaryFolder& folder, const fs::path& usr) {
  const std::string program = (usr / "bin/ripplegauge").string();
  const std::string photo = (usr / "share/doc/ripplegauge/low-dark.jpg").string();
  const std::string measure =
      program + " measure " + photo + " --board-pitch 14 --board-distance 288 --bar-length 98.4";
  REQUIRE(fs::exists(program));
  REQUIRE(fs::exists(photo));
  const std::string reading = output_of(folder, measure);
  CHECK_THAT(reading, ContainsSubstring("Spot 1: low") && ContainsSubstring("exit 0"));
  CHECK_THAT(ScratchFolder::read(usr / "share/man/man1/ripplegauge.1"), ContainsSubstring(".SS \"measure\""));

  // Its own data, not those of the source tree.
  const fs::path card = usr / "share/ripplegauge/card-corner.json";
  REQUIRE(fs::exists(card));
  std::ofstream(card) << "{}";
  CHECK_THAT(output_of(folder, measure), ContainsSubstring(card.string()) && ContainsSubstring("exit 4"));
}

}  // namespace

TEST_CASE("the installed program finds its data wherever it was put", "[install]") {
  const TemporaryFolder folder;
  REQUIRE(shell(RIPPLEGAUGE_CMAKE " --install " RIPPLEGAUGE_BUILD_DIR " --prefix '" + folder.file("a place") +
                "'") == 0);
  // A name without blanks for the shell's sake, and to see that it may be moved.
  fs::rename(folder.file("a place"), folder.file("usr"));
  check_installed(folder, folder.file("usr"));
}

TEST_CASE("the Debian package holds a program that measures", "[install]") {
  if (shell("command -v dpkg-shlibdeps && command -v dpkg-deb") != 0) {
    WARN("no dpkg-dev here: not tested");
    return;
  }
  const TemporaryFolder folder;
  REQUIRE(shell("cd " RIPPLEGAUGE_BUILD_DIR " && " RIPPLEGAUGE_CPACK " -G DEB -B '" + folder.path().string() +
                "'") == 0);
  std::string package;
  for (const auto& entry : fs::directory_iterator(folder.path()))
    if (entry.path().extension() == ".deb") package = entry.path().string();
  REQUIRE_FALSE(package.empty());
  const std::string depends = output_of(folder, "dpkg-deb -f " + package + " Depends");
  for (const char* library : {"libc6", "libopencv-imgproc", "libjpeg62-turbo", "libheif1", "libcairo2"})
    CHECK_THAT(depends, ContainsSubstring(library));
  CHECK(depends.find("imgcodecs") == std::string::npos);
  REQUIRE(shell("dpkg-deb -x " + package + " '" + folder.file("root") + "'") == 0);
  check_installed(folder, folder.file("root/usr"));
}

TEST_CASE("a program of one's own links the installed library and measures pixels", "[install]") {
  // The sample of README.md, told apart from the program by what it links: no decoder, no drawing, no locale.
  const TemporaryFolder folder;
  const std::string usr = folder.file("usr"), build = folder.file("build");
  REQUIRE(shell(RIPPLEGAUGE_CMAKE " --install " RIPPLEGAUGE_BUILD_DIR " --prefix '" + usr + "'") == 0);
  REQUIRE(shell(RIPPLEGAUGE_CMAKE " -S " RIPPLEGAUGE_SOURCE_DIR "/samples/use_library -B '" + build +
                "' -DCMAKE_PREFIX_PATH='" + usr + "' && " RIPPLEGAUGE_CMAKE " --build '" + build + "'") == 0);
  const std::string program = build + "/measure_pixels";
  const std::string libraries = output_of(folder, "ldd " + program);
  for (const char* needless :
       {"libjpeg", "libheif", "libpng", "exiv2", "cairo", "pango", "libicu", "libcrypto"})
    CHECK(libraries.find(needless) == std::string::npos);

  const fs::path sample = fs::path(RIPPLEGAUGE_SOURCE_DIR) / "samples/photos/low-dark.jpg";
  const Photo photo = read_photo(sample);
  {
    std::ofstream pgm(folder.file("photo.pgm"), std::ios::binary);
    pgm << "P5 " << photo.grey.cols << ' ' << photo.grey.rows << " 255\n";
    pgm.write(reinterpret_cast<const char*>(photo.grey.data),
              static_cast<std::streamsize>(photo.grey.total()));
  }
  const std::string focal = std::to_string(photo.focal_35mm_mm.value());
  const std::string measured =
      output_of(folder, program + " " + focal + " 14 288 98.4 <'" + folder.file("photo.pgm") + "'");
  REQUIRE_THAT(measured, ContainsSubstring("exit 0"));
  const ProgramRun run = run_program({"measure", sample.string(), "--board-pitch", "14", "--board-distance",
                                      "288", "--bar-length", "98.4", "--json", folder.file("reading.json")});
  REQUIRE(run.exit_code == 0);
  const std::string key = "\"diameter_mm\"", reading = folder.read("reading.json");
  const auto value_of = [&](const std::string& json) {
    const std::size_t at = json.find(key);
    REQUIRE(at != std::string::npos);
    return json.substr(at, json.find('}', at) - at);
  };
  CHECK(value_of(measured) == value_of(reading));

  CHECK_THAT(output_of(folder, "echo nonsense | " + program + " 26 14 288 98.4"),
             ContainsSubstring("exit 4"));
}

TEST_CASE("the program drags in no library that it does not need", "[install]") {
  // OpenCV's modules for files, cameras and windows load a hundred others, and start-up with them.
  const TemporaryFolder folder;
  const std::string libraries = output_of(folder, "ldd " RIPPLEGAUGE_PROGRAM);
  REQUIRE_THAT(libraries, ContainsSubstring("libopencv_core"));
  for (const char* heavy : {"imgcodecs", "videoio", "highgui", "gdal", "libQt", "libavcodec"})
    CHECK(libraries.find(heavy) == std::string::npos);
  CHECK(std::count(libraries.begin(), libraries.end(), '\n') < 80);  // 68 with Debian 12's libraries
}

TEST_CASE("the manual page names every command of --help", "[install]") {
  const ProgramRun page = run_program({"--man"});
  REQUIRE(page.exit_code == 0);
  const std::string help = run_program({"--help"}).out;
  std::size_t at = help.find("Subcommands:\n");
  REQUIRE(at != std::string::npos);
  int commands = 0;
  for (at = help.find("\n  ", at); at != std::string::npos; at = help.find("\n  ", at + 1), ++commands) {
    const std::string name = help.substr(at + 3, help.find(' ', at + 3) - at - 3);
    CHECK_THAT(page.out, ContainsSubstring(".SS \"" + name + "\""));
  }
  CHECK(commands >= 13);
}
