// Where in the frame a camera calibration had evidence.
#pragma once

#include "camera/next_shots.hpp"
#include "picture/picture.hpp"

namespace ripplegauge {

/// The stored picture's frame, turned as most of the photos were held: fields shaded by how many corners they
/// showed, each photo's target outlined, below it the numbers in words.
Picture coverage_picture(const CalibrationTarget& target, const CameraCalibration& calibration,
                         const std::vector<CameraShot>& shots, const Coverage& coverage);

}  // namespace ripplegauge
