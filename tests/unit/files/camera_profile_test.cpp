#include "catch.hpp"
#include "files/camera_profile_file.hpp"
#include "ripplegauge/core/errors.hpp"
#include "scratch_folder.hpp"

using namespace ripplegauge;
using Catch::Matchers::ContainsSubstring;

namespace {

CameraProfile profile() {
  CameraProfile p;
  p.date = "2026-04-03";
  p.program_version = "0.1.0";
  p.opencv_version = "4.6.0";
  p.target = "corner card";
  p.width_px = 4000;
  p.height_px = 3000;
  p.focal_35mm_mm = 26;
  p.lens = {3012.5, 2003.25, 1497.5, 0.0125, -0.0075};
  p.uncertainty = {0.002, 1.5, 1.75, 0.0005, 0.00125};
  p.rms_px = 0.125;
  p.held_out_rms_px = 0.15625;
  p.photos = {{"card 1.jpg", std::string(64, 'a'), 31.5, 0.125, 0.25}};
  return p;
}

std::string edited(const std::string& from, const std::string& to) {
  std::string text = camera_profile_to_json(profile());
  const auto at = text.find(from);
  REQUIRE(at != std::string::npos);
  return text.replace(at, from.size(), to);
}

std::string complaint(const std::string& text) {
  return message_of<FileError>([&] { camera_profile_from_json(text, "phone.json"); });
}

}  // namespace

TEST_CASE("a camera profile comes back as it was written", "[camera_profile]") {
  const CameraProfile p = camera_profile_from_json(camera_profile_to_json(profile()), "phone.json");
  CHECK(camera_profile_to_json(p) == camera_profile_to_json(profile()));
  CHECK(p.lens.focal_px == 3012.5);
  CHECK(p.uncertainty.log_focal == Approx(0.002));
  CHECK(p.lens.k2 == -0.0075);
  CHECK(p.uncertainty.centre_v_px == 1.75);
  CHECK(p.focal_35mm_mm == 26.0);
  REQUIRE(p.photos.size() == 1);
  CHECK(p.photos[0].name == "card 1.jpg");
  CHECK(p.photos[0].held_out_rms_px == 0.25);

  CameraProfile silent = profile();
  silent.focal_35mm_mm.reset();
  CHECK_FALSE(camera_profile_from_json(camera_profile_to_json(silent), "phone.json").focal_35mm_mm);
}

TEST_CASE("a camera profile that cannot be is refused by key and rule", "[camera_profile]") {
  CHECK_THAT(complaint(edited("\"schema\": 1", "\"schema\": 2")), ContainsSubstring("schema"));
  CHECK_THAT(complaint(edited("\"rms_px\"", "\"rms\"")), ContainsSubstring("phone.json"));
  CHECK_THAT(complaint(edited("3012.5", "-3012.5")), ContainsSubstring("focal_px.value"));
  CHECK_THAT(complaint(edited("2003.25", "4003.25")), ContainsSubstring("centre_u_px.value"));
  CHECK_THAT(complaint(edited("\"standard_uncertainty\": 0.0005", "\"standard_uncertainty\": 0")),
             ContainsSubstring("k1.standard_uncertainty"));
  CHECK_THAT(complaint(edited("\"focal_35mm_mm\": 26", "\"focal_35mm_mm\": 0")),
             ContainsSubstring("focal_35mm_mm"));
  CHECK_THAT(complaint(edited(std::string(64, 'a'), "abc")), ContainsSubstring("photos[0].sha256"));
  CHECK_THAT(complaint("[]"), ContainsSubstring("phone.json"));
  CHECK_THAT(complaint("{\"schema\": 1}"), ContainsSubstring("date"));
}
