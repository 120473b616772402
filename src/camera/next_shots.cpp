// What the photos so far leave open: which fields of the frame have no corners, and which of many thinkable
// photos would make the lens surest. Each is rated by what its corners would add to the normal equations.
#include "camera/next_shots.hpp"

#include <algorithm>
#include <cmath>
#include <map>
#include <numbers>

#include "core/expects.hpp"
#include "target_bundle.hpp"

namespace ripplegauge {
namespace {

/// The lens as the bundle's nominal one and shared parameters.
struct Known {
  NominalLens nominal;
  SharedVector shared = SharedVector::Zero();
};

Known known_of(const CameraCalibration& calibration) {
  Known known{{calibration.lens.focal_px, calibration.lens.centre_u_px, calibration.lens.centre_v_px}};
  known.shared[c_k1] = calibration.lens.k1, known.shared[c_k2] = calibration.lens.k2;
  return known;
}

double ray_uncertainty_px(const Known& known, const cv::Size& size, const SharedCovariance& covariance) {
  constexpr int columns = 9, rows = 7;
  constexpr int residuals = 2 * columns * rows;
  Eigen::Matrix<double, residuals, lens_parameters> by_lens;
  Eigen::Matrix<double, residuals, 3> by_turn;
  const double focal = known.nominal.focal_px;
  for (int row = 0; row < rows; ++row)
    for (int column = 0; column < columns; ++column) {
      // A point one focal length away that is seen near this pixel.
      const TargetPoint point{(column + 0.5) / columns * size.width - known.nominal.centre_u_px,
                              (row + 0.5) / rows * size.height - known.nominal.centre_v_px, 0, 0};
      const TargetPose pose{Eigen::Matrix3d::Identity(), {0, 0, focal}};
      const ProjectedPoint p = project(known.nominal, known.shared, pose, point);
      const int at = 2 * (row * columns + column);
      by_lens.middleRows<2>(at) = p.jacobian.leftCols<lens_parameters>();
      // A turn of the camera moves the point by turn x (x, y, f).
      const Eigen::Matrix<double, 2, 3> by_place = p.jacobian.rightCols<3>();
      Eigen::Matrix3d cross;
      cross << 0, focal, -point.y_mm, -focal, 0, point.x_mm, point.y_mm, -point.x_mm, 0;
      by_turn.middleRows<2>(at) = by_place * cross;
    }
  const Eigen::Matrix<double, residuals, lens_parameters> left =
      by_lens - by_turn * by_turn.colPivHouseholderQr().solve(by_lens);
  const double sum =
      (left * covariance.topLeftCorner<lens_parameters, lens_parameters>() * left.transpose()).trace();
  return std::sqrt(sum / (columns * rows));
}

/// A photo that could be taken.
struct Candidate {
  int column = 0, row = 0;  ///< of three by three places in the picture
  int tilt = 0;             ///< 0: square; else from the left, right, top, bottom
  bool turned = false;      ///< the phone turned by 90 degrees against the target
};

Eigen::Matrix3d turn(const Eigen::Vector3d& axis, double angle_deg) {
  return Eigen::AngleAxisd(angle_deg * std::numbers::pi / 180, axis).toRotationMatrix();
}

TargetPose pose_of(const Candidate& candidate, const CalibrationTarget& target, const Known& known,
                   const cv::Size& size) {
  const Eigen::Vector3d x = Eigen::Vector3d::UnitX(), y = Eigen::Vector3d::UnitY(),
                        z = Eigen::Vector3d::UnitZ();
  constexpr double tilt_deg = 35;
  // A positive turn about the picture's y axis (down) brings the right side nearer: it is seen from the
  // right. One about x brings the top nearer.
  const Eigen::Matrix3d tilts[] = {Eigen::Matrix3d::Identity(), turn(y, -tilt_deg), turn(y, tilt_deg),
                                   turn(x, tilt_deg), turn(x, -tilt_deg)};
  const Eigen::Matrix3d facing = turn(x, 180);  // the target's z towards the camera
  constexpr double share_of_picture = 0.5;      // how large the target is seen
  const double distance = 2 * target.half_size_mm * known.nominal.focal_px /
                          (share_of_picture * std::min(size.width, size.height));
  const double u = (candidate.column + 0.5) / 3 * size.width, v = (candidate.row + 0.5) / 3 * size.height;
  const Eigen::Vector3d ray((u - known.nominal.centre_u_px) / known.nominal.focal_px,
                            (v - known.nominal.centre_v_px) / known.nominal.focal_px, 1);
  return {tilts[candidate.tilt] * facing * turn(z, candidate.turned ? 90 : 0), distance * ray};
}

/// What the photo would say of the shared parameters, its own pose being free.
SharedCovariance information_of(const TargetPose& pose, const CalibrationTarget& target, const Known& known,
                                const cv::Size& size, double noise_px) {
  Eigen::Matrix<double, photo_unknowns, photo_unknowns> h;
  h.setZero();
  for (const TargetPoint& point : target.points) {
    const ProjectedPoint p = project(known.nominal, known.shared, pose, point);
    if (!cv::Rect2d(0, 0, size.width, size.height).contains(p.pixel)) continue;
    h.noalias() += p.jacobian.transpose() * p.jacobian / (noise_px * noise_px);
  }
  const auto own = h.bottomRightCorner<pose_parameters, pose_parameters>();
  const auto with = h.topRightCorner<shared_parameters, pose_parameters>();
  const Eigen::Matrix<double, pose_parameters, pose_parameters> damped =
      own + 1e-9 * own.trace() * Eigen::Matrix<double, pose_parameters, pose_parameters>::Identity();
  return h.topLeftCorner<shared_parameters, shared_parameters>() -
         with * damped.ldlt().solve(with.transpose());
}

std::string place_words(const cv::Point2d& place) {  // of three by three
  const char* rows[] = {"top", "", "bottom"};
  const char* columns[] = {"left", "", "right"};
  const std::string row = rows[static_cast<int>(place.y)], column = columns[static_cast<int>(place.x)];
  if (row.empty() && column.empty()) return "middle";
  return row + (row.empty() || column.empty() ? "" : " ") + column;
}

/// As the photographer sees it, who holds the phone as in most of the photos.
std::string words_of(const Candidate& candidate, int orientation) {
  const auto upright = [&](int column, int row) {
    return upright_from_stored(cv::Point2d(column, row), orientation, {3, 3});
  };
  const cv::Point sides[] = {{1, 1}, {0, 1}, {2, 1}, {1, 0}, {1, 2}};  // as Candidate::tilt counts
  const cv::Point side = sides[candidate.tilt];
  std::string words =
      "target at the " + place_words(upright(candidate.column, candidate.row)) + " of the picture, ";
  if (candidate.tilt == 0)
    words += "seen squarely";
  else
    words += "seen from its " + place_words(upright(side.x, side.y)) + ", about 35 degrees from straight on";
  return words + (candidate.turned ? ", turned by 90 degrees" : "");
}

std::vector<Candidate> candidates() {
  std::vector<Candidate> all;
  for (int row = 0; row < 3; ++row)
    for (int column = 0; column < 3; ++column)
      for (int tilt = 0; tilt < 5; ++tilt)
        for (const bool turned : {false, true}) all.push_back({column, row, tilt, turned});
  return all;
}

}  // namespace

int usual_orientation(const CameraCalibration& calibration, const std::vector<CameraShot>& shots) {
  std::map<int, int> times;
  for (const CalibratedPhoto& photo : calibration.photos) ++times[shots[photo.shot].orientation];
  return std::max_element(times.begin(), times.end(),
                          [](const auto& a, const auto& b) { return a.second < b.second; })
      ->first;
}

int Coverage::fields_seen() const {
  return static_cast<int>(std::count_if(corners.begin(), corners.end(), [](int n) { return n > 0; }));
}

Coverage coverage_of(const CameraCalibration& calibration, const std::vector<CameraShot>& shots) {
  expects(calibration.stored_size.width > 0 && calibration.stored_size.height > 0, "a calibrated camera");
  Coverage coverage;
  for (const CalibratedPhoto& photo : calibration.photos)
    for (const cv::Point2d& p : shots[photo.shot].view.pixels) {
      const auto field = [](double at, int size, int count) {
        return std::clamp(static_cast<int>((at + 0.5) / size * count), 0, count - 1);
      };
      const int column = field(p.x, calibration.stored_size.width, Coverage::columns),
                row = field(p.y, calibration.stored_size.height, Coverage::rows),
                place = row * Coverage::columns + column;
      ++coverage.corners[static_cast<std::size_t>(place)];
    }
  return coverage;
}

std::vector<std::string> unseen_places(const CameraCalibration& calibration,
                                       const std::vector<CameraShot>& shots) {
  bool seen[3][3] = {};
  const int orientation = usual_orientation(calibration, shots);
  const cv::Size size = calibration.stored_size;
  for (const CalibratedPhoto& photo : calibration.photos)
    for (const cv::Point2d& p : shots[photo.shot].view.pixels) {
      const auto third = [](double at, int length) {
        return std::clamp(static_cast<int>((at + 0.5) / length * 3), 0, 2);
      };
      const cv::Point2d place = upright_from_stored(
          cv::Point2d(third(p.x, size.width), third(p.y, size.height)), orientation, {3, 3});
      seen[static_cast<int>(place.y)][static_cast<int>(place.x)] = true;
    }
  std::vector<std::string> places;
  for (int row = 0; row < 3; ++row)
    for (int column = 0; column < 3; ++column)
      if (!seen[row][column]) places.push_back(place_words(cv::Point2d(column, row)));
  return places;
}

double ray_uncertainty_px(const CameraCalibration& calibration) {
  return ray_uncertainty_px(known_of(calibration), calibration.stored_size, calibration.covariance);
}

std::vector<NextShot> next_shots(const CalibrationTarget& target, const CameraCalibration& calibration,
                                 const std::vector<CameraShot>& shots, std::size_t count) {
  const Known known = known_of(calibration);
  const cv::Size size = calibration.stored_size;
  SharedCovariance covariance = calibration.covariance;
  const auto log_focal = [](const SharedCovariance& c) { return std::sqrt(c(c_log_focal, c_log_focal)); };
  // Disagreement between photos is noise that the next one will have too.
  const double noise_px = calibration.corner_noise_px * calibration.disagreement;
  const double good_ray_px = good_ray_share * std::hypot(size.width, size.height);
  const int orientation = usual_orientation(calibration, shots);
  std::vector<NextShot> next;
  while (next.size() < count) {
    if (log_focal(covariance) < good_log_focal && ray_uncertainty_px(known, size, covariance) < good_ray_px)
      break;
    double least = -1;
    NextShot best;
    SharedCovariance best_covariance;
    for (const Candidate& candidate : candidates()) {
      const SharedCovariance added =
          information_of(pose_of(candidate, target, known, size), target, known, size, noise_px);
      const SharedCovariance after = (covariance.inverse() + added).inverse();
      const double focal = log_focal(after), ray = ray_uncertainty_px(known, size, after);
      const double open = std::pow(focal / good_log_focal, 2) + std::pow(ray / good_ray_px, 2);
      if (least >= 0 && open >= least) continue;
      least = open;
      best = {words_of(candidate, orientation), focal, ray};
      best_covariance = after;
    }
    next.push_back(best);
    covariance = best_covariance;
  }
  return next;
}

}  // namespace ripplegauge
