// The same photo, turned, cropped, rescaled, compressed again or mirrored and back, shows the same
// millimetres.
#include <functional>

#include "altered_photos.hpp"
#include "catch.hpp"
#include "picture/picture.hpp"
#include "ripplegauge/photo/photo.hpp"

using namespace ripplegauge;

namespace {

struct Change {
  const char* name;
  std::function<Photo(const Photo&)> apply;
};

Photo turned(const Photo& photo, cv::RotateFlags how) {
  cv::Mat grey;
  cv::rotate(photo.grey, grey, how);
  return with_grey(photo, grey);
}

Photo compressed(const Photo& photo, int quality) {
  cv::Mat bgr;
  cv::cvtColor(photo.grey, bgr, cv::COLOR_GRAY2BGR);
  return with_grey(photo, decode_photo(encode_jpeg(bgr, quality), "again.jpg").grey);
}

Photo mirrored(const Photo& photo) {
  cv::Mat grey;
  cv::flip(photo.grey, grey, 1);
  return with_grey(photo, grey);
}

/// A tenth off two sides. What EXIF says of the lens no longer fits: the program must see that.
Photo cropped(const Photo& photo) {
  const int right = photo.grey.cols / 10, top = photo.grey.rows / 12;
  return with_grey(photo,
                   photo.grey(cv::Rect(0, top, photo.grey.cols - right, photo.grey.rows - top)).clone());
}

const Change quarter_turn = {"turned by 90 degrees",
                             [](const Photo& p) { return turned(p, cv::ROTATE_90_CLOCKWISE); }};
const Change half_turn = {"turned by 180 degrees", [](const Photo& p) { return turned(p, cv::ROTATE_180); }};
const Change compression = {"compressed again", [](const Photo& p) { return compressed(p, 75); }};
const Change there_and_back = {"mirrored, compressed and mirrored back",
                               [](const Photo& p) { return mirrored(compressed(mirrored(p), 85)); }};
const Change crop = {"cropped", cropped};
const Change reduction = {"reduced to 70 %", [](const Photo& p) { return shrunk(p, 0.7); }};

Reading measured(const Photo& photo, const MeasureRequest& request) {
  const Reading reading = measure(photo, request).reading;
  INFO((reading.refusal ? reading.refusal->code + ": " + reading.refusal->message
                        : to_string(reading.status)));
  REQUIRE(reading.dents.size() == 1);
  REQUIRE(reading.dents[0].depth_mm);
  return reading;
}

/// Two readings of one photo share scale, card and tape: they must agree within the first one's interval,
/// whose half width is 2 standard uncertainties, and each must hold the truth.
void check_same(const Sample& s, const Photo& photo, const Change& change) {
  INFO(change.name);
  const Dent before = measured(photo, s.request).dents[0];
  const Dent after = measured(change.apply(photo), s.request).dents[0];
  CHECK(after.kind == before.kind);
  const auto same = [](const char* what, const Quantity& a, const Quantity& b) {
    INFO(what << ": " << a.value << " (" << a.low << " to " << a.high << "), then " << b.value << " ("
              << b.low << " to " << b.high << ")");
    CHECK(std::abs(b.value - a.value) < std::max(a.half_width(), b.half_width()));
  };
  same("diameter", before.diameter_mm, after.diameter_mm);
  same("length", before.length_mm, after.length_mm);
  same("width", before.width_mm, after.width_mm);
  same("depth", *before.depth_mm, *after.depth_mm);
  CHECK(std::hypot(after.x_mm - before.x_mm, after.y_mm - before.y_mm) <
        0.3);  // a thirtieth of the smallest diameter here
  const double true_diameter_mm = s.dents.at(0).at("rim").at("eq_diameter").get<double>();
  for (const Dent* d : {&before, &after}) {
    CHECK(d->diameter_mm.low < true_diameter_mm);
    CHECK(d->diameter_mm.high > true_diameter_mm);
  }
}

}  // namespace

TEST_CASE("a small photo turned, or compressed again, shows the same millimetres", "[metamorphic]") {
  const Sample s = sample("low-light");
  const Photo photo = shrunk(s.photo, 0.6);
  for (const Change& change : {quarter_turn, compression}) check_same(s, photo, change);
}

TEST_CASE("any photo changed in any way shows the same millimetres", "[metamorphic][slow]") {
  for (const char* name : {"low-light", "low-dark", "high-dark"}) {
    const Sample s = sample(name);
    for (const Change& change : {quarter_turn, half_turn, compression, there_and_back, crop, reduction}) {
      INFO(name);
      check_same(s, s.photo, change);
    }
  }
}
