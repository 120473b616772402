#include "ripplegauge/camera/lens.hpp"

#include <opencv2/core.hpp>

#include "catch.hpp"
#include "ripplegauge/camera/lens_prior.hpp"

using namespace ripplegauge;

namespace {

CameraProfile profile() {
  CameraProfile p;
  p.width_px = 400;
  p.height_px = 300;
  p.focal_35mm_mm = 26;
  p.lens = {300, 210, 140, 0.05, -0.02};
  p.uncertainty = {0.002, 1, 3, 0.004, 0.006};
  return p;
}

Photo photo(int width, int height, int orientation, std::optional<double> focal) {
  Photo p;
  p.grey = cv::Mat::zeros(height, width, CV_8UC1);
  p.exif_orientation = orientation;
  p.focal_35mm_mm = focal;
  return p;
}

}  // namespace

TEST_CASE("pixels turn as the photo is turned upright", "[camera][conventions]") {
  // By OpenCV: a spot in a stored picture, turned as EXIF's number says (CIPA DC-008).
  cv::Mat stored = cv::Mat::zeros(30, 40, CV_8UC1);
  const cv::Point spot(7, 4);
  stored.at<uchar>(spot) = 255;
  for (int orientation = 1; orientation <= 8; ++orientation) {
    cv::Mat upright = stored.clone();
    if (swaps_sides(orientation)) cv::transpose(stored, upright);
    const int flips[] = {2, 2, 1, -1, 0, 2, 1, -1, 0};  // 2: none; as cv::flip has them
    if (flips[orientation] != 2) cv::flip(upright, upright, flips[orientation]);
    cv::Point expected;
    cv::minMaxLoc(upright, nullptr, nullptr, nullptr, &expected);
    const cv::Point2d turned = upright_from_stored(spot, orientation, stored.size());
    INFO("orientation " << orientation);
    CHECK(turned.x == expected.x);
    CHECK(turned.y == expected.y);
    const cv::Point2d back = stored_from_upright(turned, orientation, upright.size());
    CHECK(back.x == spot.x);
    CHECK(back.y == spot.y);
  }
}

TEST_CASE("a profile is turned with the photo", "[camera]") {
  const auto lying = lens_prior_from_profile(photo(400, 300, 1, 26), profile());
  REQUIRE(std::holds_alternative<LensPrior>(lying));
  CHECK(std::get<LensPrior>(lying).lens.centre_u_px == 210);
  CHECK(std::get<LensPrior>(lying).uncertainty.centre_v_px == 3);
  CHECK(std::get<LensPrior>(lying).uncertainty.log_focal >
        profile().uncertainty.log_focal);  // it focuses anew
  CHECK(std::get<LensPrior>(lying).uncertainty.log_focal < 0.005);
  CHECK(std::get<LensPrior>(lying).warnings.empty());

  const auto upright = lens_prior_from_profile(photo(300, 400, 6, 26), profile());
  REQUIRE(std::holds_alternative<LensPrior>(upright));
  const LensPrior prior = std::get<LensPrior>(upright);
  CHECK(prior.lens.centre_u_px == 299 - 140);
  CHECK(prior.lens.centre_v_px == 210);
  CHECK(prior.uncertainty.centre_u_px == 3);
  CHECK(prior.uncertainty.centre_v_px == 1);
  CHECK(prior.lens.focal_px == 300);
  CHECK(prior.lens.k1 == 0.05);
}

TEST_CASE("pixels turned without a word in EXIF leave open to which side", "[camera]") {
  const auto found = lens_prior_from_profile(photo(300, 400, 1, 26), profile());
  REQUIRE(std::holds_alternative<LensPrior>(found));
  const LensPrior prior = std::get<LensPrior>(found);
  CHECK(prior.lens.centre_u_px == 149.5);
  CHECK(prior.lens.centre_v_px == 199.5);
  CHECK(prior.uncertainty.centre_u_px == Approx(std::hypot(3, 140 - 149.5)));
  CHECK(prior.uncertainty.centre_v_px == Approx(std::hypot(1, 210 - 199.5)));
}

TEST_CASE("a profile of another size or focal length is refused with the reason", "[camera]") {
  const auto refusal = [](const Photo& p) {
    const auto found = lens_prior_from_profile(p, profile());
    REQUIRE(std::holds_alternative<Refusal>(found));
    return std::get<Refusal>(found);
  };
  CHECK(refusal(photo(800, 600, 1, 26)).message.find("400 x 300") != std::string::npos);
  CHECK(refusal(photo(800, 600, 1, 26)).message.find("800 x 600") != std::string::npos);
  CHECK(refusal(photo(400, 300, 1, 52)).message.find("52 mm") != std::string::npos);
  CHECK(refusal(photo(300, 400, 8, 13)).message.find("26 mm") != std::string::npos);
}

TEST_CASE("a photo that does not say its focal length takes the profile with a warning", "[camera]") {
  const auto found = lens_prior_from_profile(photo(400, 300, 1, std::nullopt), profile());
  REQUIRE(std::holds_alternative<LensPrior>(found));
  REQUIRE(std::get<LensPrior>(found).warnings.size() == 1);
  CHECK(std::get<LensPrior>(found).warnings[0].code == "camera_profile_unchecked");
}

TEST_CASE("without a profile EXIF serves, and without EXIF next to nothing is known", "[camera]") {
  const LensPrior exif = lens_prior_from_exif(photo(400, 300, 1, 26));
  CHECK(exif.lens.focal_px == Approx(26 * 500 / 43.26662).epsilon(1e-5));
  CHECK(exif.uncertainty.log_focal > 0.008);
  CHECK(exif.uncertainty.log_focal < 0.02);
  CHECK(exif.warnings.empty());
  const LensPrior none = lens_prior_from_exif(photo(400, 300, 1, std::nullopt));
  CHECK(none.uncertainty.log_focal > 0.2);
  REQUIRE(none.warnings.size() == 1);
  CHECK(none.warnings[0].code == "focal_length_unknown");
}
