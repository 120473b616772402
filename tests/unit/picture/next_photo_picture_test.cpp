// The picture of the next photo: what it shows of this one, and how its stripes run.
#include "picture/next_photo_picture.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <stdexcept>

#include "catch.hpp"

using namespace ripplegauge;

namespace {

constexpr int photo_px = 1200;

Reading one_round_spot() {
  Reading reading;
  reading.photo.width_px = reading.photo.height_px = photo_px;
  reading.dents.resize(1);
  reading.outlines_px.resize(1);
  for (int k = 0; k < 36; ++k) {
    const double angle = k * std::numbers::pi / 18;
    reading.outlines_px[0].emplace_back(600 + 60 * std::cos(angle), 500 + 60 * std::sin(angle));
  }
  return reading;
}

/// How often dark and light change along a line through the right disc's middle, away from the outline.
int changes(const Picture& picture, bool across_level_stripes) {
  cv::Mat grey;
  cv::cvtColor(picture.bgr, grey, cv::COLOR_BGR2GRAY);
  int count = 0;
  bool dark = false;
  for (int t = -150; t <= 150; ++t) {
    const bool now = grey.at<uchar>(across_level_stripes ? cv::Point(755 + 110, 275 + t)
                                                         : cv::Point(755 + t, 275 + 110)) < 128;
    count += t > -150 && now != dark;
    dark = now;
  }
  return count;
}

}  // namespace

TEST_CASE("the next photo's stripes are turned, and as much finer as they should be", "[picture]") {
  const cv::Mat photo(photo_px, photo_px, CV_8UC3, cv::Scalar(90, 120, 150));
  NextPhoto next;
  next.stripe_period_px = 60;
  const Reading reading = one_round_spot();
  const int level = changes(next_photo_picture(photo, reading, next), true);
  CHECK(level > 4);
  CHECK(changes(next_photo_picture(photo, reading, next), false) <= 1);
  next.turn_deg = 90;
  CHECK(changes(next_photo_picture(photo, reading, next), false) == Approx(level).margin(2));
  CHECK(changes(next_photo_picture(photo, reading, next), true) <= 1);
  next.period_factor = 0.5;
  CHECK(changes(next_photo_picture(photo, reading, next), false) == Approx(2 * level).margin(3));
}

TEST_CASE("the next photo's picture says what to do, whole and inside", "[picture]") {
  const cv::Mat photo(photo_px / 2, photo_px / 2, CV_8UC3, cv::Scalar(90, 120, 150));
  NextPhoto next;
  next.stripe_period_px = 60;
  next.stripes_missing = "left";
  next.words = {
      "Turn the board by 90 degrees about its middle: along another direction the orange peel is another "
      "one."};
  const Picture picture = next_photo_picture(photo, one_round_spot(), next);
  std::string said;
  for (const PlacedText& t : picture.texts) {
    said += t.text + " ";
    CHECK(t.box.x >= 0);
    CHECK(t.box.x + t.box.width <= picture.bgr.cols);
    CHECK(t.box.y + t.box.height <= picture.bgr.rows);
  }
  CHECK(said.find(next.words[0]) != std::string::npos);
  CHECK(picture.bgr.at<cv::Vec3b>(275, 245) == cv::Vec3b(90, 120, 150));  // the photo, inside the outline
  CHECK(picture.bgr.at<cv::Vec3b>(275, 130) != cv::Vec3b(90, 120, 150));  // the arrow to the left
}

TEST_CASE("no picture of a next photo without the spot's outline", "[picture]") {
  const cv::Mat photo(photo_px, photo_px, CV_8UC3, cv::Scalar::all(100));
  NextPhoto next;
  next.spot = 1;
  CHECK_THROWS_AS(next_photo_picture(photo, one_round_spot(), next), std::invalid_argument);
  next.spot = -1;
  CHECK_THROWS_AS(next_photo_picture(photo, one_round_spot(), next), std::invalid_argument);
  CHECK_THROWS_AS(next_photo_picture(cv::Mat(), one_round_spot(), {}), std::invalid_argument);
}
