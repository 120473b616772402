#include "picture/coverage_picture.hpp"

#include "catch.hpp"

using namespace ripplegauge;

namespace {

/// One photo that shows the stored picture's left half.
struct Scene {
  CalibrationTarget target{"corner card", {}, 60};
  CameraCalibration calibration;
  std::vector<CameraShot> shots{1};

  explicit Scene(int orientation) {
    calibration.stored_size = {4000, 3000};
    calibration.photos.resize(1);
    shots[0].orientation = orientation;
    for (double u = 100; u < 2000; u += 250)
      for (double v = 100; v < 3000; v += 250) shots[0].view.pixels.emplace_back(u, v);
  }
  Picture picture() const {
    return coverage_picture(target, calibration, shots, coverage_of(calibration, shots));
  }
};

/// Mean place of the texts "none", as shares of the picture.
cv::Point2d unseen(const Picture& picture) {
  cv::Point2d sum;
  int count = 0;
  for (const PlacedText& t : picture.texts)
    if (t.text == "none") {
      sum += cv::Point2d(t.box.x / picture.bgr.cols, t.box.y / picture.bgr.rows);
      ++count;
    }
  REQUIRE(count == 24);  // half of 8 x 6 fields
  return sum / count;
}

}  // namespace

TEST_CASE("fields without evidence say so, where the photographer sees them", "[picture]") {
  const Picture lying = Scene(1).picture();
  CHECK(unseen(lying).x > 0.6);
  CHECK(lying.bgr.cols > lying.bgr.rows);
  const Picture upright = Scene(6).picture();  // the stored right is below
  CHECK(unseen(upright).y > 0.6);
  CHECK(upright.bgr.rows > upright.bgr.cols);
  const cv::Rect2d canvas(0, 0, upright.bgr.cols, upright.bgr.rows);
  for (const PlacedText& t : upright.texts) CHECK((t.box & canvas) == t.box);
}
