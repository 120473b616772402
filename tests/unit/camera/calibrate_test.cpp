#include "camera/calibrate.hpp"

#include "catch.hpp"
#include "synthetic.hpp"

using namespace ripplegauge;
using namespace synthetic;

namespace {

/// How many standard uncertainties each of the lens's five numbers is off.
std::array<double, 5> pulls(const CameraCalibration& c, const Lens& truth) {
  const LensUncertainty u = c.uncertainty();
  return {std::log(c.lens.focal_px / truth.focal_px) / u.log_focal,
          (c.lens.centre_u_px - truth.centre_u_px) / u.centre_u_px,
          (c.lens.centre_v_px - truth.centre_v_px) / u.centre_v_px, (c.lens.k1 - truth.k1) / u.k1,
          (c.lens.k2 - truth.k2) / u.k2};
}

struct Tally {
  int inside = 0, all = 0;
  double mean_square = 0, disagreement = 0;
};

Tally tally_of(const CalibrationTarget& target, const Truth& truth, std::size_t photos, int seeds) {
  Tally tally;
  for (int seed = 1; seed <= seeds; ++seed) {
    const CameraCalibration c =
        calibrate_camera(target, good_shots(target, truth, photos, static_cast<unsigned>(seed)));
    REQUIRE(c.solved);
    tally.disagreement += c.disagreement / seeds;
    for (const double pull : pulls(c, truth.lens)) {
      tally.inside += std::abs(pull) < 2;
      ++tally.all;
      tally.mean_square += pull * pull;
    }
  }
  tally.mean_square /= tally.all;
  return tally;
}

/// Enough intervals hold the truth, and they are not much wider than they need to be.
void check_tally(const Tally& t, int least_inside, double least_mean_square) {
  INFO(t.inside << " of " << t.all << ", mean square " << t.mean_square << ", disagreement "
                << t.disagreement);
  CHECK(t.inside >= least_inside);
  CHECK(t.mean_square > least_mean_square);
}

}  // namespace

TEST_CASE("corners without noise give the lens back", "[camera]") {
  const CalibrationTarget target = card_target(corner_card());
  Truth truth;
  truth.corner_noise_px = 0;
  const CameraCalibration c = calibrate_camera(target, good_shots(target, truth, 10, 1));
  REQUIRE(c.solved);
  CHECK(c.photos.size() == 10);
  // The priors on k1, k2 and centre pull by (uncertainty / prior)^2: below these margins.
  CHECK(c.lens.focal_px == Approx(truth.lens.focal_px).margin(0.5));
  CHECK(c.lens.centre_u_px == Approx(truth.lens.centre_u_px).margin(0.5));
  CHECK(c.lens.centre_v_px == Approx(truth.lens.centre_v_px).margin(0.5));
  CHECK(c.lens.k1 == Approx(truth.lens.k1).margin(1e-3));
  CHECK(c.rms_px < 0.01);
  CHECK(c.held_out_rms_px < 0.02);
}

TEST_CASE("the lens and its uncertainties agree with OpenCV's calibration", "[camera]") {
  const CalibrationTarget target = chessboard_target({9, 6, 25});
  const Truth truth;
  const std::vector<CameraShot> shots = good_shots(target, truth, 15, 4);
  CalibrationOptions options;  // OpenCV takes the target as perfect and knows nothing beforehand
  options.priors = {10, 10, 10, 1e-9, 1e-9, 1e-6};
  const CameraCalibration c = calibrate_camera(target, shots, options);
  REQUIRE(c.solved);
  std::vector<std::vector<cv::Point3f>> object;
  std::vector<std::vector<cv::Point2f>> image;
  for (const CameraShot& shot : shots) {
    object.emplace_back();
    image.emplace_back();
    for (std::size_t i = 0; i < shot.view.points.size(); ++i) {
      const TargetPoint& p = target.points[shot.view.points[i]];
      object.back().emplace_back(static_cast<float>(p.x_mm), static_cast<float>(p.y_mm), 0.f);
      image.back().emplace_back(shot.view.pixels[i]);
    }
  }
  cv::Mat k = (cv::Mat_<double>(3, 3) << 3000, 0, 1999.5, 0, 3000, 1499.5, 0, 0, 1),
          distortion = cv::Mat::zeros(5, 1, CV_64F);
  cv::Mat intrinsic_sd, extrinsic_sd, errors;
  std::vector<cv::Mat> rotations, translations;
  const double rms_px = cv::calibrateCamera(object, image, truth.size, k, distortion, rotations, translations,
                                            intrinsic_sd, extrinsic_sd, errors,
                                            cv::CALIB_USE_INTRINSIC_GUESS | cv::CALIB_FIX_ASPECT_RATIO |
                                                cv::CALIB_ZERO_TANGENT_DIST | cv::CALIB_FIX_K3);
  const LensUncertainty u = c.uncertainty();
  // A robust loss weighs the same corners a little differently: a third of the uncertainty.
  CHECK(c.lens.focal_px == Approx(k.at<double>(0, 0)).margin(0.33 * u.log_focal * c.lens.focal_px));
  CHECK(c.lens.centre_u_px == Approx(k.at<double>(0, 2)).margin(0.33 * u.centre_u_px));
  CHECK(c.lens.centre_v_px == Approx(k.at<double>(1, 2)).margin(0.33 * u.centre_v_px));
  CHECK(c.lens.k1 == Approx(distortion.at<double>(0)).margin(0.33 * u.k1));
  CHECK(c.lens.k2 == Approx(distortion.at<double>(1)).margin(0.33 * u.k2));
  // Both per unit of corner noise. OpenCV 4.6 estimates that noise from (points - unknowns), where every
  // point gives two coordinates; our loss costs 7 %.
  const double points = 15 * 54, unknowns = 5 + 6 * 15;
  const double cv_noise_px = std::sqrt(rms_px * rms_px * points / (points - unknowns));
  const double noise_px = c.corner_noise_px * c.disagreement;
  CHECK(u.log_focal * c.lens.focal_px / noise_px ==
        Approx(intrinsic_sd.at<double>(1) / cv_noise_px).epsilon(0.1));
  CHECK(u.centre_u_px / noise_px == Approx(intrinsic_sd.at<double>(2) / cv_noise_px).epsilon(0.1));
  CHECK(u.centre_v_px / noise_px == Approx(intrinsic_sd.at<double>(3) / cv_noise_px).epsilon(0.1));
  CHECK(u.k1 / noise_px == Approx(intrinsic_sd.at<double>(4) / cv_noise_px).epsilon(0.1));
  CHECK(u.k2 / noise_px == Approx(intrinsic_sd.at<double>(5) / cv_noise_px).epsilon(0.1));
  CHECK(c.corner_noise_px == Approx(truth.corner_noise_px).epsilon(0.1));
}

TEST_CASE("about 95 of 100 stated intervals hold the true lens", "[camera]") {
  const CalibrationTarget target = card_target(corner_card());
  Truth truth;
  // 125 numbers, correlated within a calibration: the count scatters by about 5 per cent.
  SECTION("a flat card, printed true") { check_tally(tally_of(target, truth, 12, 25), 113, 0.35); }
  SECTION("printed fat and stretched, and not quite flat") {
    truth.ink_mm = 0.08;
    truth.stretch = 0.0015;
    truth.bow_per_mm = 1e-4;
    check_tally(tally_of(target, truth, 12, 25), 110, 0.2);
  }
  SECTION("laid down anew for each photo: the photos' disagreement widens the intervals") {
    truth.bow_changes_per_mm = 1e-4;
    check_tally(tally_of(target, truth, 12, 25), 110, 0.2);
  }
  SECTION("six photos") { check_tally(tally_of(target, truth, 6, 25), 110, 0); }
}

TEST_CASE("EXIF is not needed for the start", "[camera]") {
  const CalibrationTarget target = card_target(corner_card());
  for (const double focal_px : {1700.0, 3050.0, 8800.0}) {
    Truth truth;
    truth.lens.focal_px = focal_px;
    truth.lens.k1 = 0.02;
    truth.lens.k2 = 0;
    std::vector<CameraShot> shots;
    std::mt19937 random(3);
    for (int i = 0; i < 10; ++i) {
      const Placement place{20.0 + 2 * i,    67.0 * i,      90.0 * (i % 2), focal_px * 0.09 + 5 * i,
                            0.35 + 0.03 * i, 0.6 - 0.02 * i};
      shots.push_back(shot_of(target, truth, place, random, std::to_string(i)));
      shots.back().focal_35mm_mm.reset();
    }
    const CameraCalibration c = calibrate_camera(target, shots);
    REQUIRE(c.solved);
    INFO("focal length " << focal_px << " px, found " << c.lens.focal_px);
    CHECK(std::abs(std::log(c.lens.focal_px / focal_px)) < 3 * c.uncertainty().log_focal);
    CHECK(c.uncertainty().log_focal < 0.03);
    CHECK_FALSE(c.focal_35mm_mm);
  }
}

TEST_CASE("photos that do not belong are left out, with the reason", "[camera]") {
  const CalibrationTarget target = card_target(corner_card());
  const Truth truth;
  std::vector<CameraShot> shots = good_shots(target, truth, 14, 8);
  shots[1].view = {{}, {}, "no tag can be read in it"};
  shots[3].stored_size = {3000, 2000};
  shots[5].focal_35mm_mm = 52;
  shots[7] = shots[6];
  shots[7].name = "copy";
  for (std::size_t i = 0; i < shots[9].view.pixels.size(); ++i)
    shots[9].view.pixels[i].x += (i % 3) * 6.0;  // torn paper
  const CameraCalibration c = calibrate_camera(target, shots);
  REQUIRE(c.solved);
  CHECK(c.photos.size() == 9);
  REQUIRE(c.unused.size() == 5);
  const char* words[] = {"no tag", "another size", "another focal length", "same photo as photo 6",
                         "do not fit"};
  const std::size_t which[] = {1, 3, 5, 7, 9};
  for (std::size_t i = 0; i < 5; ++i) {
    CHECK(c.unused[i].shot == which[i]);
    CHECK(c.unused[i].reason.find(words[i]) != std::string::npos);
  }
  CHECK(std::abs(std::log(c.lens.focal_px / truth.lens.focal_px)) < 3 * c.uncertainty().log_focal);
}

TEST_CASE("too few photos give no lens", "[camera]") {
  const CalibrationTarget target = card_target(corner_card());
  CHECK_FALSE(calibrate_camera(target, {}).solved);
  CHECK_FALSE(calibrate_camera(target, good_shots(target, {}, 5, 1)).solved);
}

TEST_CASE("photos from squarely above leave the focal length open, and say so", "[camera]") {
  const CalibrationTarget target = card_target(corner_card());
  const Truth truth;
  std::mt19937 random(5);
  std::vector<CameraShot> shots;
  for (int i = 0; i < 8; ++i)
    shots.push_back(shot_of(target, truth, {0, 0, 45.0 * i, 300.0 + 10 * i, 0.4 + 0.03 * i, 0.5}, random,
                            std::to_string(i)));
  const CameraCalibration c = calibrate_camera(target, shots);
  REQUIRE(c.solved);
  CHECK(c.uncertainty().log_focal > 0.02);
  CHECK(c.photos[0].pose.tilt_deg() < 15);
}
