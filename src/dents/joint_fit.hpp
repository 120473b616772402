// One dent fitted to several photos of it at once: it is the same in all of them, everything else is each
// photo's own.
#pragma once

#include <Eigen/Dense>
#include <span>
#include <vector>

#include "dents/spot_shape.hpp"
#include "relief/light_fit.hpp"

namespace ripplegauge {

/// What a photo's geometry leaves open of a spot: by how much it seems shifted (mm), larger and higher
/// (logarithms) than it is.
enum FrameShift : int { f_x = 0, f_y, f_log_size, f_log_height, frame_shifts };
using FrameVector = Eigen::Matrix<double, frame_shifts, 1>;
using FrameMatrix = Eigen::Matrix<double, frame_shifts, frame_shifts>;

/// A photo's part in the fit: its pixels round the spot, and how its geometry may be off.
struct JointView {
  const PixelArrays* pixels = nullptr;
  bool highlight = false;
  FrameVector start = FrameVector::Zero(), expected = FrameVector::Zero();  ///< shift
  FrameMatrix precision = FrameMatrix::Identity();                          ///< of that
};

/// The spot as a photo shows it whose geometry is off by this.
SpotVector seen_with(const FrameVector& shift, SpotVector spot);

struct JointFitRequest {
  bool height_fixed = false;
  int iterations = 10;
  double tolerance = 1e-5;  ///< of the cost
  int threads = 1;
};

struct JointFit {
  std::vector<SpotVector> spots;  ///< their sum is the dent
  std::vector<FrameVector> shifts;
  std::vector<Eigen::Vector3d> drifts;  ///< slow phase that each photo's bundle leaves, see SpotFit
  std::vector<double> view_costs;       ///< of each photo's pixels, drift and shift; shape is not in it
  double cost = 1e300;
  Eigen::MatrixXd hessian;  ///< by all parameters of each spot in turn, then each photo's shift and drift
};

/// Levenberg-Marquardt on the sum of the photos' normal equations: every photo keeps its own light, drift and
/// shift.
JointFit fit_jointly(std::span<const JointView> views, std::span<const SpotVector> start,
                     const JointFitRequest& request);

}  // namespace ripplegauge
