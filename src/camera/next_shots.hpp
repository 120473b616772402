// What the photos so far leave open, and which further ones would help most.
#pragma once

#include <string>
#include <vector>

#include "camera/calibrate.hpp"

namespace ripplegauge {

/// How many corners each field of the stored picture showed.
struct Coverage {
  static constexpr int columns = 8, rows = 6;
  std::vector<int> corners = std::vector<int>(columns * rows, 0);  ///< row-major
  int fields_seen() const;
};
Coverage coverage_of(const CameraCalibration& calibration, const std::vector<CameraShot>& shots);

/// The thirds of the picture ("top left", ...) in which no corner was seen, as the photographer sees them.
std::vector<std::string> unseen_places(const CameraCalibration& calibration,
                                       const std::vector<CameraShot>& shots);

/// How the phone was held in most of the photos, as EXIF numbers it.
int usual_orientation(const CameraCalibration& calibration, const std::vector<CameraShot>& shots);

/// How uncertain the lens leaves a pixel, on average over the picture: rms, px, after the small turn of the
/// camera that hides best what is not known (a displaced centre is hardly more than a turn).
double ray_uncertainty_px(const CameraCalibration& calibration);

struct NextShot {
  std::string words;
  double log_focal = 0;  ///< standard uncertainty once it and those before it are taken
  double ray_px = 0;     ///< the same of ray_uncertainty_px
};

/// The best few of many thinkable photos, one after the other, judged by what each would add to what is known
/// (sequential optimal design: V. V. Fedorov, Theory of Optimal Experiments, 1972). Empty when the lens is
/// known well enough.
std::vector<NextShot> next_shots(const CalibrationTarget& target, const CameraCalibration& calibration,
                                 const std::vector<CameraShot>& shots, std::size_t count = 3);

/// A focal length and rays (as a share of the picture's diagonal) known better than this gain nothing in a
/// depth: tape and card are worse.
inline constexpr double good_log_focal = 0.002, good_ray_share = 3e-4;

}  // namespace ripplegauge
