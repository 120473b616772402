#pragma once

#include <filesystem>
#include <string>
#include <string_view>

#include "ripplegauge/camera/lens_prior.hpp"

namespace ripplegauge {

/// Reads a camera profile as `camera` writes it:
///   {"schema": 1, "date": "...", "program_version": "...", "opencv_version": "...", "target": "...",
///    "width_px": 4000, "height_px": 3000, "focal_35mm_mm": 26,
///    "focal_px": {"value": 3012.4, "standard_uncertainty": 2.1}, "centre_u_px": {...}, "centre_v_px": {...},
///    "k1": {...}, "k2": {...}, "rms_px": 0.12, "held_out_rms_px": 0.15,
///    "photos": [{"name": "...", "sha256": "...", "tilt_deg": 31, "rms_px": 0.1, "held_out_rms_px": 0.2},
///    ...]}
/// Throws FileError.
CameraProfile read_camera_profile(const std::filesystem::path& file);

/// `name` stands for the file in error messages.
CameraProfile camera_profile_from_json(std::string_view text, const std::string& name);

std::string camera_profile_to_json(const CameraProfile& profile);

}  // namespace ripplegauge
