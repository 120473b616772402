#include "files/photo_folder.hpp"

#include <sys/stat.h>

#include "catch.hpp"
#include "ripplegauge/core/errors.hpp"
#include "scratch_folder.hpp"

using namespace ripplegauge;
namespace fs = std::filesystem;

namespace {

/// "name: panel" of every photo found; "name: ? trouble" where the panel is not known.
std::vector<std::string> found_in(const fs::path& folder, const PhotoFolderOptions& options = {}) {
  std::vector<std::string> found;
  for (const FolderPhoto& photo : photos_in(folder, options))
    found.push_back(photo.name + ": " + (photo.panel.empty() ? "? " + photo.trouble : photo.panel));
  return found;
}

using Found = std::vector<std::string>;

}  // namespace

TEST_CASE("photos are told by the endings that phones write, in any case", "[photo_folder]") {
  for (const char* name : {"a.jpg", "a.JPEG", "a.png", "a.HEIC", "a.heif", "a.HIF", "estate.2/b.c.hif"})
    CHECK(has_photo_ending(name));
  for (const char* name : {"a.json", "a.heics", "hif", ".hif", "a.jpg/b", "a.hif.part", ""})
    CHECK_FALSE(has_photo_ending(name));
}

TEST_CASE("panels come from sub-folders, then from names with a number, then from the folder",
          "[photo_folder]") {
  const ScratchFolder scratch;
  const fs::path folder = scratch / "estate";
  for (const char* sub : {"bonnet", "roof/front", ".thumbnails"}) fs::create_directories(folder / sub);
  for (const char* file : {"bonnet/IMG_0002.JPG", "bonnet/IMG_0001.jpeg", "roof/front/a.heic",
                           "left door-12.png", "IMG_2034.jpg", "20240501-101500.jpg", "boot-lid.jpg",
                           "notes.txt", ".hidden.jpg", ".thumbnails/a.jpg", "t\xC3\xBCr-1.jpg", "list"})
    scratch.write("estate/" + std::string(file), "x");
  CHECK(found_in(folder) == Found{"20240501-101500.jpg: estate", "IMG_2034.jpg: estate",
                                  "bonnet/IMG_0001.jpeg: bonnet", "bonnet/IMG_0002.JPG: bonnet",
                                  "boot-lid.jpg: estate", "left door-12.png: left door",
                                  "roof/front/a.heic: roof", "t\xC3\xBCr-1.jpg: t\xC3\xBCr"});
  CHECK(found_in(folder / "bonnet" / "") == Found{"IMG_0001.jpeg: bonnet", "IMG_0002.JPG: bonnet"});
  CHECK(photos_in(folder / "bonnet", {})[0].file == folder / "bonnet" / "IMG_0001.jpeg");
  CHECK(found_in(folder, {"", folder / "roof"}).size() == 7);
}

TEST_CASE("a panel pattern goes before sub-folders, and what does not fit it is named", "[photo_folder]") {
  const ScratchFolder scratch;
  fs::create_directories(scratch / "monday");
  for (const char* file : {"monday/0001_roof_1.jpg", "0002_left door_10.jpg", "IMG_2034.jpg"})
    scratch.write(file, "x");
  CHECK(found_in(scratch.path(), {"#_{panel}_#", {}}) ==
        Found{"0002_left door_10.jpg: left door",
              "IMG_2034.jpg: ? its name does not fit the pattern #_{panel}_#",
              "monday/0001_roof_1.jpg: roof"});
}

TEST_CASE("a pattern matches as it says", "[photo_folder]") {
  const auto panel = [](const char* pattern, const char* name) {
    return panel_from_name(pattern, name).value_or("-");
  };
  CHECK(panel("{panel}-#", "roof left-12") == "roof left");
  CHECK(panel("{panel}-#", "roof-left-12") == "roof-left");
  CHECK(panel("{panel}-#", "roof-a") == "-");
  CHECK(panel("{panel}-#", "-12") == "-");
  CHECK(panel("*-{panel}", "2024-05-01-roof") == "roof");
  CHECK(panel("{panel}", "roof") == "roof");
  CHECK(panel("({panel}) [#]+", "(roof) [3]+") == "roof");
  CHECK(panel("({panel}) [#]+", "roof 3") == "-");
  CHECK(panel("{panel}.*", "roof.x") == "roof");
  CHECK(panel("#{panel}", "3   roof ") == "roof");
  CHECK(panel("#{panel}", "3   ") == "-");
  for (const char* senseless : {"", "panel", "{panel}{panel}", "{panel}-{panel}"})
    CHECK_THROWS_AS(panel_from_name(senseless, "roof"), UsageError);
}

TEST_CASE("a pattern of many stars is matched at once, whatever the name", "[photo_folder]") {
  // By trial and error this would take longer than anybody lives.
  std::string pattern = "{panel}";
  for (int i = 0; i < 100; ++i) pattern += "*e";
  CHECK_FALSE(panel_from_name(pattern + "x", std::string(255, 'e')));
  CHECK(panel_from_name(pattern, std::string(255, 'e')) == std::string(155, 'e'));
}

TEST_CASE("names that no job file can hold are told before anything is measured", "[photo_folder]") {
  const ScratchFolder scratch;
  for (const std::string& sub :
       {std::string("\xFF\xFE"), std::string("ro\x1b[31mof"), std::string(201, 'a')}) {
    fs::create_directories(scratch / sub);
    scratch.write(sub + "/a.jpg", "x");
  }
  const auto photos = photos_in(scratch.path(), {});
  REQUIRE(photos.size() == 3);
  for (const FolderPhoto& photo : photos) {
    CHECK(photo.panel.empty());
    CHECK_FALSE(photo.trouble.empty());
  }
}

TEST_CASE("annotated pictures of a job are no photos of the vehicle", "[photo_folder]") {
  const ScratchFolder scratch;
  for (const char* sub : {"old-pictures", "my-pictures"}) fs::create_directories(scratch / sub);
  for (const char* file : {"old.json", "old-pictures/a.jpg", "my-pictures/b.jpg"}) scratch.write(file, "x");
  CHECK(found_in(scratch.path()) == Found{"my-pictures/b.jpg: my-pictures"});
}

TEST_CASE("odd things in a folder stop nothing", "[photo_folder]") {
  const ScratchFolder scratch;
  fs::create_directories(scratch / "a.jpg");  // a folder that looks like a photo
  scratch.write("a.jpg/1.jpg", "x");
  fs::create_symlink(scratch / "gone.jpg", scratch / "link-1.jpg");
  fs::create_directory_symlink(scratch.path(), scratch / "loop");
  REQUIRE(::mkfifo((scratch / "pipe-1.jpg").c_str(), 0600) == 0);
  CHECK(found_in(scratch.path()) == Found{"a.jpg/1.jpg: a.jpg", "link-1.jpg: link"});
  CHECK_THROWS_AS(photos_in(scratch / "none", {}), FileError);
}
