// What is known of a photo's lens before its card is looked at: from a camera profile, else from EXIF, else
// next to nothing.
#pragma once

#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "ripplegauge/camera/lens.hpp"
#include "ripplegauge/core/reading.hpp"
#include "ripplegauge/image/photo.hpp"

namespace ripplegauge {

struct ProfilePhoto {
  std::string name, sha256;
  double tilt_deg = 0;         ///< between line of sight and the target's normal
  double rms_px = 0;           ///< of the corners' distances, this photo among those fitted
  double held_out_rms_px = 0;  ///< with the lens from the other photos
};

/// What `camera` found out about one lens of one phone, and from what.
struct CameraProfile {
  std::string date, program_version, opencv_version;
  std::string target;               ///< what was photographed
  int width_px = 0, height_px = 0;  ///< as the sensor stores the picture, before EXIF turns it
  std::optional<double> focal_35mm_mm;
  Lens lens;
  LensUncertainty uncertainty;
  double rms_px = 0, held_out_rms_px = 0;
  std::vector<ProfilePhoto> photos;
};

/// Expected lens and standard uncertainties, for the upright photo.
struct LensPrior {
  Lens lens;
  LensUncertainty uncertainty;
  std::vector<Warning> warnings;
};

/// From EXIF's focal length; without one a phone's typical focal length, wide enough for the card to decide.
LensPrior lens_prior_from_exif(const Photo& photo);

/// From a profile, turned with the photo; a refusal when the photo has another size or focal length.
std::variant<LensPrior, Refusal> lens_prior_from_profile(const Photo& photo, const CameraProfile& profile);

}  // namespace ripplegauge
