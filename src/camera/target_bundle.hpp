// The bundle of all photos: parameters, projection, fit. One formula for numbers and for duals.
#pragma once

#include <Eigen/Dense>
#include <vector>

#include "camera/calibrate.hpp"
#include "core/dual.hpp"

namespace ripplegauge {

inline constexpr int pose_parameters =
    6;  ///< small rotation (Gibbs vector) on top of a base, translation in mm
inline constexpr int photo_unknowns = shared_parameters + pose_parameters;
using SharedVector = Eigen::Matrix<double, shared_parameters, 1>;
using PoseVector = Eigen::Matrix<double, pose_parameters, 1>;
using PhotoDual = Dual<photo_unknowns>;

/// What the shared parameters count from.
struct NominalLens {
  double focal_px = 0, centre_u_px = 0, centre_v_px = 0;
};

/// A pixel, and its derivatives by shared parameters (first) and pose (last).
struct ProjectedPoint {
  cv::Point2d pixel;
  Eigen::Matrix<double, 2, photo_unknowns> jacobian;
};
ProjectedPoint project(const NominalLens& nominal, const SharedVector& shared, const TargetPose& pose,
                       const TargetPoint& point);

/// What is fixed in a bundle.
struct TargetBundle {
  const CalibrationTarget* target = nullptr;
  std::vector<const TargetView*> views;
  NominalLens nominal;
  SharedVector prior_sigma = SharedVector::Ones();
  double corner_noise_px = 0.15;  ///< standard deviation of a corner's coordinate
};

struct BundleState {
  SharedVector shared = SharedVector::Zero();
  std::vector<TargetPose> poses;  ///< one a view
};

/// Poses alone, from the shared parameters: both planar solutions (Collins & Bartoli, IJCV 2014,
/// 10.1007/s11263-014-0725-5) of the undistorted corners, the better one kept.
std::vector<TargetPose> poses_from(const TargetBundle& bundle, const SharedVector& shared);

/// Improves the state. `covariance`, if given, receives the shared parameters' at the solution.
void fit(const TargetBundle& bundle, BundleState& state, SharedCovariance* covariance = nullptr);
/// Improves one pose, everything shared held.
TargetPose fit_pose(const TargetBundle& bundle, const SharedVector& shared, const TargetView& view,
                    const TargetPose& start);

/// Seen minus projected, px, two a corner.
std::vector<double> errors_of(const TargetBundle& bundle, const SharedVector& shared, const TargetPose& pose,
                              const TargetView& view);

Lens lens_of(const NominalLens& nominal, const SharedVector& shared);

}  // namespace ripplegauge
