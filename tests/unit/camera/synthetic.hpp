// Photos of a target through a known lens, as lists of corners: what a camera calibration must give back.
#pragma once

#include <cmath>
#include <opencv2/calib3d.hpp>
#include <random>

#include "camera/calibrate.hpp"
#include "corner_card.hpp"

namespace synthetic {

using namespace ripplegauge;

struct Truth {
  Lens lens{3050, 2011, 1489, 0.04, -0.03};
  cv::Size size{4000, 3000};
  double corner_noise_px = 0.1;
  double ink_mm = 0, stretch = 0;
  double bow_per_mm = 0;          ///< the same in all photos
  double bow_changes_per_mm = 0;  ///< standard deviation from photo to photo: the target is laid down anew
};

struct Placement {
  double tilt_deg = 0, azimuth_deg = 0, roll_deg = 0, distance_mm = 300;
  double u_share = 0.5, v_share = 0.5;  ///< where in the picture the middle is seen
};

/// A photo of the target, by OpenCV's own projection. Corners beyond the picture's edge are left out.
inline CameraShot shot_of(const CalibrationTarget& target, const Truth& truth, const Placement& place,
                          std::mt19937& random, const std::string& name) {
  std::normal_distribution<double> normal;
  const double rad = std::acos(-1.0) / 180, tilt = place.tilt_deg * rad, azimuth = place.azimuth_deg * rad;
  cv::Mat tilted, rolled, facing;
  cv::Rodrigues(cv::Vec3d(tilt * std::cos(azimuth), tilt * std::sin(azimuth), 0), tilted);
  cv::Rodrigues(cv::Vec3d(0, 0, place.roll_deg * rad), rolled);
  cv::Rodrigues(cv::Vec3d(180 * rad, 0, 0), facing);
  cv::Mat rotation;
  cv::Rodrigues(tilted * facing * rolled, rotation);
  const Lens& l = truth.lens;
  const cv::Vec3d translation =
      place.distance_mm * cv::Vec3d((place.u_share * truth.size.width - l.centre_u_px) / l.focal_px,
                                    (place.v_share * truth.size.height - l.centre_v_px) / l.focal_px, 1);
  const double bow = truth.bow_per_mm + truth.bow_changes_per_mm * normal(random);
  std::vector<cv::Point3d> object;
  for (const TargetPoint& p : target.points) {
    const double x = p.x_mm + p.ink_x * truth.ink_mm,
                 y = (p.y_mm + p.ink_y * truth.ink_mm) * (1 + truth.stretch);
    object.emplace_back(x, y, -0.5 * bow * (x * x + y * y));
  }
  std::vector<cv::Point2d> pixels;
  const cv::Matx33d k(l.focal_px, 0, l.centre_u_px, 0, l.focal_px, l.centre_v_px, 0, 0, 1);
  cv::projectPoints(object, rotation, translation, cv::Mat(k), cv::Vec4d(l.k1, l.k2, 0, 0), pixels);
  CameraShot shot{name, truth.size, 1, 26.0, name, {}};
  for (std::size_t i = 0; i < pixels.size(); ++i) {
    const cv::Point2d p = pixels[i] + truth.corner_noise_px * cv::Point2d(normal(random), normal(random));
    if (!cv::Rect2d(0, 0, truth.size.width, truth.size.height).contains(p)) continue;
    shot.view.points.push_back(i);
    shot.view.pixels.push_back(p);
  }
  return shot;
}

/// A good set as a person would take it: from many sides, all over the picture, the phone turned now and
/// then.
inline std::vector<CameraShot> good_shots(const CalibrationTarget& target, const Truth& truth,
                                          std::size_t count, unsigned seed) {
  std::mt19937 random(seed);
  std::uniform_real_distribution<double> share(0.0, 1.0);
  std::vector<CameraShot> shots;
  for (std::size_t i = 0; i < count; ++i) {
    const Placement place{15 + 30 * share(random),
                          360 * share(random),
                          90.0 * static_cast<double>(i % 4) + 20 * share(random),
                          (3.2 + 1.8 * share(random)) * target.half_size_mm,
                          0.3 + 0.4 * share(random),
                          0.3 + 0.4 * share(random)};
    shots.push_back(shot_of(target, truth, place, random, "photo " + std::to_string(i)));
  }
  return shots;
}

}  // namespace synthetic
