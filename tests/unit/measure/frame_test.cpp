// Photos in other shapes than a sensor's: cut by the phone or by hand, with the EXIF of the whole.
#include "altered_photos.hpp"
#include "catch.hpp"

using namespace ripplegauge;

namespace {

Reading read_part(const Sample& s, const cv::Rect& part) {
  return measure(with_grey(s.photo, s.photo.grey(part).clone()), s.request).reading;
}

}  // namespace

TEST_CASE("rows or columns cut off by hand change next to nothing", "[frame]") {
  Sample s = sample("low-dark");
  s.request.board_distance_mm.reset();
  const int w = s.photo.grey.cols, h = s.photo.grey.rows;
  const Reading whole = measure(s.photo, s.request).reading;
  REQUIRE(whole.dents.size() == 1);
  for (const cv::Rect& part : {cv::Rect(0, h / 5, w, h - h / 5), cv::Rect(0, h / 10, w, h - h / 10),
                               cv::Rect(0, 0, w, h - h / 7), cv::Rect(w / 7, 0, w - w / 7, h)}) {
    INFO(part);
    const Reading cut = read_part(s, part);
    REQUIRE(cut.dents.size() == 1);
    CHECK(cut.dents[0].diameter_mm.value == Approx(whole.dents[0].diameter_mm.value).epsilon(0.002));
    CHECK(cut.dents[0].depth_mm->value == Approx(whole.dents[0].depth_mm->value).epsilon(0.01));
  }
}

TEST_CASE("shapes that phones cut hold the truth, whichever frame EXIF speaks of", "[frame]") {
  Sample s = sample("low-dark");
  s.request.board_distance_mm.reset();
  const double depth_mm = s.dents.at(0).at("depth").get<double>();
  const int w = s.photo.grey.cols, h = s.photo.grey.rows;
  for (const double ratio : {16.0 / 9, 20.0 / 9, 1.0}) {
    const cv::Size size = ratio > 1 ? cv::Size(w, static_cast<int>(w / ratio)) : cv::Size(h, h);
    const cv::Rect part(cv::Point((w - size.width) / 2, (h - size.height) / 2), size);
    for (const bool of_whole : {true, false}) {
      INFO("shape " << ratio << (of_whole ? ", EXIF of the whole" : ", EXIF of the part"));
      Sample cut = s;
      if (!of_whole)  // the same focal length in pixels, told by the part's own diagonal
        cut.photo.focal_35mm_mm =
            *s.photo.focal_35mm_mm * std::hypot(w, h) / std::hypot(size.width, size.height);
      const Reading reading = read_part(cut, part);
      REQUIRE(reading.dents.size() == 1);
      REQUIRE(reading.dents[0].depth_mm);
      CHECK(reading.dents[0].depth_mm->low < depth_mm);
      CHECK(reading.dents[0].depth_mm->high > depth_mm);
    }
  }
}

TEST_CASE("a focal length that the phone tells wrong is found out by the card", "[frame]") {
  Sample s = sample("low-dark");
  s.request.board_distance_mm.reset();
  *s.photo.focal_35mm_mm *= 1.078;
  const Reading reading = measure(s.photo, s.request).reading;
  REQUIRE(reading.dents.size() == 1);
  const double depth_mm = s.dents.at(0).at("depth").get<double>();
  CHECK(reading.dents[0].depth_mm->value == Approx(depth_mm).epsilon(0.1));
}
