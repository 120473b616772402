// Where the focal length comes from: a camera profile, EXIF, or the card alone.
#include <filesystem>

#include "catch.hpp"
#include "ripplegauge/image/photo.hpp"
#include "ripplegauge/json/card_file.hpp"
#include "ripplegauge/measure/measure.hpp"
#include "ripplegauge/photo/photo.hpp"

using namespace ripplegauge;

namespace {

const std::filesystem::path root = RIPPLEGAUGE_SOURCE_DIR;

/// What samples/scenes/samples/low-dark.json says of camera and dent, and what samples/photos/low-dark.json
/// gives.
constexpr double true_focal_35mm = 27.2, true_k1 = 0.012, true_k2 = -0.004, true_depth_mm = 0.21,
                 true_distance_mm = 285;

Photo photo() { return read_photo(root / "samples" / "photos" / "low-dark.jpg"); }

MeasureRequest request() {
  MeasureRequest r;
  r.card = read_card(root / "calibration" / "card-corner.json");
  r.board_pitch_mm = 14;
  r.board_distance_mm = 288;
  r.bar_length_mm = 98.4;
  return r;
}

CameraProfile true_profile() {
  CameraProfile profile;
  profile.width_px = 2592;
  profile.height_px = 1944;
  profile.focal_35mm_mm = 27;
  profile.lens = {focal_px_from_35mm(true_focal_35mm, 2592, 1944), 0.5 * 2591, 0.5 * 1943, true_k1, true_k2};
  profile.uncertainty = {0.001, 2, 2, 0.002, 0.002};
  return profile;
}

bool has_warning(const Reading& reading, const std::string& code) {
  return std::any_of(reading.warnings.begin(), reading.warnings.end(),
                     [&](const Warning& w) { return w.code == code; });
}

void check_holds(const std::optional<Quantity>& quantity, double truth) {
  REQUIRE(quantity);
  CHECK(quantity->low < truth);
  CHECK(truth < quantity->high);
}

const MeasureOptions quick{.free_surface = false};  // the lens moves the scale of a depth, not its shape

}  // namespace

TEST_CASE("the less is known of the lens, the wider the intervals, and the truth lies in all of them",
          "[lens_source]") {
  const double true_focal_px = focal_px_from_35mm(true_focal_35mm, 2592, 1944);
  const Reading exif = measure(photo(), request(), quick).reading;
  Photo silent = photo();
  silent.focal_35mm_mm.reset();
  const Reading none = measure(silent, request(), quick).reading;
  MeasureRequest with_profile = request();
  with_profile.camera = true_profile();
  const Reading profile = measure(photo(), with_profile, quick).reading;
  for (const Reading* reading : {&exif, &none, &profile}) {
    REQUIRE(reading->status == Status::measured);
    REQUIRE(reading->dents.size() == 1);
    check_holds(reading->dents[0].depth_mm, true_depth_mm);
    check_holds(reading->setup.focal_px, true_focal_px);
    check_holds(reading->setup.board_distance_mm, true_distance_mm);
  }
  CHECK(none.dents[0].depth_mm->half_width() > exif.dents[0].depth_mm->half_width());
  CHECK(profile.dents[0].depth_mm->half_width() < none.dents[0].depth_mm->half_width());
  CHECK(none.setup.focal_px->half_width() > 1.3 * exif.setup.focal_px->half_width());
  CHECK(profile.setup.focal_px->half_width() < 0.3 * exif.setup.focal_px->half_width());
  CHECK(has_warning(none, "focal_length_unknown"));
  CHECK_FALSE(has_warning(exif, "focal_length_unknown"));
  CHECK_FALSE(has_warning(profile, "focal_length_unknown"));
}

TEST_CASE("a profile for another lens is refused before anything is measured", "[lens_source]") {
  MeasureRequest r = request();
  r.camera = true_profile();
  r.camera->focal_35mm_mm = 52;
  const Reading reading = measure(photo(), r).reading;
  CHECK(reading.status == Status::refused);
  REQUIRE(reading.refusal);
  CHECK(reading.refusal->code == "camera_profile_misfit");
  CHECK(reading.dents.empty());
}
