#include <opencv2/core.hpp>

#include "catch.hpp"
#include "picture/picture.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/photo/photo.hpp"
#include "scratch_folder.hpp"

using namespace ripplegauge;

namespace {

cv::Mat coloured_blocks() {
  cv::Mat bgr(64, 96, CV_8UC3, cv::Scalar(200, 100, 20));
  bgr(cv::Rect(32, 16, 32, 32)).setTo(cv::Scalar(10, 20, 240));
  return bgr;
}

}  // namespace

TEST_CASE("pictures read back as they were", "[encode]") {
  const ScratchFolder folder;
  const cv::Mat bgr = coloured_blocks();
  const auto png = folder.write("a.png", encode_for_name(bgr, "a.PNG"));
  CHECK(cv::norm(read_photo_colour(png, 1000), bgr, cv::NORM_INF) == 0);
  for (const char* name : {"a.jpg", "a.JPEG"}) {
    const auto jpeg = folder.write("b.jpg", encode_for_name(bgr, name));
    const cv::Mat read = read_photo_colour(jpeg, 1000);
    REQUIRE(read.size() == bgr.size());
    CHECK(cv::norm(read, bgr, cv::NORM_INF) < 12);  // JPEG at quality 90, blocks on its grid
  }
  const cv::Mat part = bgr(cv::Rect(8, 8, 40, 40));  // rows that do not follow each other in memory
  CHECK(cv::norm(read_photo_colour(folder.write("c.png", encode_png(part)), 1000), part, cv::NORM_INF) == 0);
}

TEST_CASE("only names of pictures are taken", "[encode]") {
  CHECK_THROWS_AS(encode_for_name(coloured_blocks(), "a.gif"), UsageError);
  CHECK_THROWS_AS(encode_for_name(coloured_blocks(), "png"), UsageError);
  CHECK_THROWS_AS(encode_for_name(coloured_blocks(), ""), UsageError);
  CHECK_THROWS_AS(encode_png(cv::Mat()), std::invalid_argument);
  CHECK_THROWS_AS(encode_jpeg(cv::Mat(4, 4, CV_8UC1)), std::invalid_argument);
}
