// The pictures that `job add --draw` makes follow what is voided by hand.
#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/core.hpp>

#include "catch.hpp"
#include "files/job_file.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "ripplegauge/photo/photo.hpp"
#include "run_program.hpp"
#include "unit/quote/made_up.hpp"

using namespace ripplegauge;
using namespace made_up;
using Catch::Matchers::ContainsSubstring;
namespace fs = std::filesystem;

namespace {

const std::string photo = RIPPLEGAUGE_SOURCE_DIR "/samples/photos/low-dark.jpg";
constexpr int photo_width_px = 2592, photo_height_px = 1944;
constexpr double radius_px = 200;
const std::vector<cv::Point2d> centres_px = {{700, 700}, {1800, 1200}};

/// Two made-up spots with round outlines in a real photo.
std::string two_spots(const TemporaryFolder& folder) {
  Reading reading = reading_of(photo, {dent_at(30, 40, 15), dent_at(90, 40, 20)});
  reading.photo.sha256.clear();
  reading.photo.width_px = photo_width_px;
  reading.photo.height_px = photo_height_px;
  for (const cv::Point2d& centre : centres_px) {
    auto& outline = reading.outlines_px.emplace_back();
    for (int degrees = 0; degrees < 360; degrees += 5) {
      const double angle = degrees * std::numbers::pi / 180;
      outline.emplace_back(centre.x + radius_px * std::cos(angle), centre.y + radius_px * std::sin(angle));
    }
  }
  return folder.write("r.json", reading_to_json(reading));
}

/// How much of the spot's outline, counted from 1, has the colour of a low spot: 0 to 1.
double share_drawn(const fs::path& picture, int spot) {
  const cv::Mat bgr = read_photo_colour(picture, 100'000);
  const double scale = static_cast<double>(bgr.cols) / photo_width_px;
  constexpr int points = 360;
  int blue = 0;
  for (int degrees = 0; degrees < points; ++degrees) {
    const double angle = degrees * std::numbers::pi / 180;
    const cv::Point2d at = (centres_px[static_cast<std::size_t>(spot - 1)] +
                            radius_px * cv::Point2d(std::cos(angle), std::sin(angle))) *
                           scale;
    const auto pixel = bgr.at<cv::Vec3b>(cv::Point(at));
    blue += pixel[0] - pixel[2] > 40;
  }
  return static_cast<double>(blue) / points;
}

ProgramRun change(const std::string& job, const std::string& action, const std::string& spot) {
  return run_program({"job", action, job, "--spot", spot, "--reason", "a lamp"});
}

struct DrawnJob {
  TemporaryFolder folder;
  std::string job = folder.file("job.json"), reading = two_spots(folder);
  fs::path picture;

  DrawnJob() {
    REQUIRE(run_program({"job", "add", job, "--panel", "roof", reading, "--draw"}).exit_code == 0);
    picture = folder.path() / read_job(job).photos.at(0).picture;
  }
  fs::path beside(const std::string& ending) const {
    return picture.parent_path() / (picture.stem().string() + ending);
  }
};

}  // namespace

TEST_CASE("a voided spot goes out of its photo's picture and comes back", "[cli][quote]") {
  const DrawnJob drawn;
  const std::string first = ScratchFolder::read(drawn.picture);
  CHECK(share_drawn(drawn.picture, 1) > 0.5);
  CHECK(share_drawn(drawn.picture, 2) > 0.5);

  const ProgramRun voided = change(drawn.job, "void", "1");
  CHECK(voided.exit_code == 0);
  CHECK(voided.err.empty());
  CHECK(ScratchFolder::read(drawn.picture) != first);
  CHECK(share_drawn(drawn.picture, 1) < 0.05);
  CHECK(share_drawn(drawn.picture, 2) > 0.5);

  // Adding the photo once more adds nothing, so it brings nothing back either.
  CHECK(run_program({"job", "add", drawn.job, "--panel", "roof", drawn.reading, "--draw"}).exit_code == 0);
  CHECK(share_drawn(drawn.picture, 1) < 0.05);

  CHECK(change(drawn.job, "unvoid", "1").exit_code == 0);
  CHECK(share_drawn(drawn.picture, 1) > 0.5);
  CHECK(share_drawn(drawn.picture, 2) > 0.5);

  CHECK(
      run_program({"job", "void", drawn.job, "--spot", "1", "--spot", "2", "--reason", "a lamp"}).exit_code ==
      0);
  CHECK(share_drawn(drawn.picture, 1) < 0.05);
  CHECK(share_drawn(drawn.picture, 2) < 0.05);
}

TEST_CASE("a picture that cannot be drawn again stays, and voiding says so", "[cli][quote]") {
  const DrawnJob drawn;
  const std::string first = ScratchFolder::read(drawn.picture);
  const auto refuses = [&] {
    const ProgramRun run = change(drawn.job, "void", "1");
    CHECK(run.exit_code == 0);
    CHECK_THAT(run.err, ContainsSubstring("still shows its spots as before"));
    CHECK(std::count(run.err.begin(), run.err.end(), '\n') == 1);
    CHECK(ScratchFolder::read(drawn.picture) == first);
    CHECK(read_job(drawn.job).spots.at(0).voided.has_value());
  };

  SECTION("nothing was kept, as by earlier versions") {
    fs::remove(drawn.beside("-undrawn.jpg"));
    refuses();
  }
  SECTION("what was kept is damaged") {
    drawn.folder.write(fs::relative(drawn.beside(".json"), drawn.folder.path()), "{\"schema\": 1, ");
    refuses();
  }
  SECTION("a link stands for what was kept") {
    fs::copy_file(photo, drawn.folder.path() / "private.jpg");
    fs::remove(drawn.beside("-undrawn.jpg"));
    fs::create_symlink("../private.jpg", drawn.beside("-undrawn.jpg"));
    refuses();
  }
  SECTION("the folder of pictures is a link") {
    fs::rename(drawn.picture.parent_path(), drawn.folder.path() / "elsewhere");
    fs::create_directory_symlink("elsewhere", drawn.picture.parent_path());
    refuses();
  }
}

TEST_CASE("a picture of the user's own is left alone when a spot is voided", "[cli][quote]") {
  const TemporaryFolder folder;
  const std::string job = folder.file("job.json"), own = folder.file("own.jpg");
  fs::copy_file(photo, own);
  CHECK(run_program({"job", "add", job, "--panel", "roof", two_spots(folder), "--picture", own}).exit_code ==
        0);
  const std::string before = ScratchFolder::read(own);
  const ProgramRun run = change(job, "void", "1");
  CHECK(run.exit_code == 0);
  CHECK_THAT(run.err, ContainsSubstring("own.jpg still shows") && ContainsSubstring("left alone"));
  CHECK(ScratchFolder::read(own) == before);
}

TEST_CASE("a link planted for a job's picture is replaced when a spot is voided", "[cli][quote]") {
  const DrawnJob drawn;
  drawn.folder.write("precious.txt", "mine");
  fs::remove(drawn.picture);
  fs::create_symlink("../precious.txt", drawn.picture);
  CHECK(change(drawn.job, "void", "1").exit_code == 0);
  CHECK(drawn.folder.read("precious.txt") == "mine");
  CHECK(fs::is_regular_file(fs::symlink_status(drawn.picture)));
  CHECK(share_drawn(drawn.picture, 2) > 0.5);
}

TEST_CASE("a job's pictures are drawn in the language that is asked for", "[cli][quote]") {
  const DrawnJob english;
  const TemporaryFolder folder;
  const std::string job = folder.file("job.json");
  const ProgramRun run = run_program({"job", "add", job, "--panel", "roof", two_spots(folder), "--draw",
                                      "--language", "de", "--locale", "de-DE"});
  REQUIRE(run.exit_code == 0);
  const fs::path picture = folder.path() / read_job(job).photos.at(0).picture;
  CHECK(share_drawn(picture, 1) > 0.5);
  CHECK(ScratchFolder::read(picture) != ScratchFolder::read(english.picture));
}
