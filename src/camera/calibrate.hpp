// One lens from several photos of a flat target (Z. Zhang, "A flexible new technique for camera calibration",
// IEEE Trans. Pattern Anal. Mach. Intell. 22:1330, 2000, 10.1109/34.888718): lens, target shape and all
// camera positions in one bundle. How far the photos agree with each other, each left out in turn, widens the
// uncertainties.
#pragma once

#include <Eigen/Dense>
#include <optional>
#include <string>
#include <vector>

#include "camera/target.hpp"
#include "ripplegauge/camera/lens.hpp"

namespace ripplegauge {

/// Places of the unknowns that all photos share.
enum SharedParameter : int {
  c_log_focal = 0,
  c_centre = 1,  ///< 2, px
  c_k1 = 3,
  c_k2 = 4,
  lens_parameters = 5,
  c_ink = 5,      ///< how much wider than nominal half a tag's square is, mm
  c_stretch = 6,  ///< the print is (1 + s) times as long along y as along x
  c_crown = 7,    ///< 3: kx, ky, kxy of the target's surface, 1/mm, as PanelModel has it
  shared_parameters = 10
};
using SharedCovariance = Eigen::Matrix<double, shared_parameters, shared_parameters>;

/// One photo: what it shows, in pixels of the stored picture.
struct CameraShot {
  std::string name;
  cv::Size stored_size;
  int orientation = 1;
  std::optional<double> focal_35mm_mm;
  std::string sha256;
  TargetView view;
};

/// camera_from_target.
struct TargetPose {
  Eigen::Matrix3d rotation = Eigen::Matrix3d::Identity();
  Eigen::Vector3d translation_mm = Eigen::Vector3d::Zero();
  double tilt_deg() const;  ///< between line of sight and the target's normal
};

/// Standard deviations of what is known before the photos speak.
struct CalibrationPriors {
  double centre_share = 0.05;  ///< of the picture's diagonal: whole sensors are centred, cropped ones nearly
  double k1 = 0.1, k2 = 0.1;   ///< a phone's own correction leaves less, a bare lens not more (own estimate)
  double ink_mm = 0.15;        ///< squares print fat or thin by a tenth
  double stretch = 0.002;      ///< printers feed paper to a few tenths of a per cent (own estimate)
  double bow_mm = 0.3;         ///< sag of a target taken as flat, from its middle to its farthest point
};

struct CalibrationOptions {
  CalibrationPriors priors;
  std::size_t fewest_photos = 6;
};

struct CalibratedPhoto {
  std::size_t shot = 0;  ///< index into what was given
  TargetPose pose;
  double rms_px = 0;  ///< of the corners' distances
  double held_out_rms_px = 0;
};

struct UnusedPhoto {
  std::size_t shot = 0;
  std::string reason;
};

struct CameraCalibration {
  bool solved = false;  ///< false: too few photos were left; nothing but `unused` and the size is filled
  cv::Size stored_size;
  std::optional<double> focal_35mm_mm;
  Lens lens;
  SharedCovariance covariance = SharedCovariance::Zero();  ///< widened by disagreement
  double corner_noise_px = 0;                              ///< standard deviation of a corner's coordinate
  double disagreement = 1;  ///< scatter between photos over what corner noise explains, at least 1
  double rms_px = 0, held_out_rms_px = 0;
  std::vector<CalibratedPhoto> photos;
  std::vector<UnusedPhoto> unused;

  LensUncertainty uncertainty() const;
};

/// Takes the largest group of photos with one size and focal length, leaves out those that show nothing,
/// stand twice or do not fit the others, and solves for the rest.
CameraCalibration calibrate_camera(const CalibrationTarget& target, const std::vector<CameraShot>& shots,
                                   const CalibrationOptions& options = {});

}  // namespace ripplegauge
