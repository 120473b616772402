// Where every measurement's lens starts: a camera profile if it fits the photo, else EXIF, else next to
// nothing.
#include "ripplegauge/camera/lens_prior.hpp"

#include <algorithm>
#include <cmath>
#include <cstdio>

#include "ripplegauge/core/findings.hpp"

namespace ripplegauge {
namespace {

/// Phone lenses after the phone's own correction, and photos that may have been cropped (own estimates).
constexpr double usual_k1 = 0.03, usual_k2 = 0.015, usual_centre_px = 100;

/// A lens moves out to focus: by the thin lens equation its focal length in pixels grows by f / distance,
/// with f = 5 mm by 0.6 % from 45 to 25 cm. A profile does not know how far away the next photo is taken.
constexpr double focus_log_focal = 0.003;

LensPrior centred(const Photo& photo, double focal_px, double log_focal) {
  return {{focal_px, 0.5 * (photo.grey.cols - 1), 0.5 * (photo.grey.rows - 1), 0, 0},
          {log_focal, usual_centre_px, usual_centre_px, usual_k1, usual_k2},
          {}};
}

std::string size_text(int width_px, int height_px) {
  return std::to_string(width_px) + " x " + std::to_string(height_px) + " pixels";
}

std::string focal_text(double focal_35mm_mm) {
  char text[32];
  std::snprintf(text, sizeof text, "%.4g mm", focal_35mm_mm);
  return text;
}

Refusal misfit(const std::string& what) {
  return {
      code_of(PhotoFinding::camera_profile_misfit), what,
      "Photograph with the lens, zoom and resolution that the profile was made with, make a profile for this "
      "one, or measure without a profile."};
}

}  // namespace

LensPrior lens_prior_from_exif(const Photo& photo) {
  const int width = photo.grey.cols, height = photo.grey.rows;
  if (photo.focal_35mm_mm) {
    // EXIF gives whole millimetres (rectangular, +-0.5), and phones correct and crop a little.
    const double rounding = 0.5 / std::sqrt(3.0) / *photo.focal_35mm_mm;
    return centred(photo, focal_px_from_35mm(*photo.focal_35mm_mm, width, height),
                   std::hypot(rounding, 0.006));
  }
  constexpr double typical_phone_35mm = 26, any_phone = 0.3;
  LensPrior prior = centred(photo, focal_px_from_35mm(typical_phone_35mm, width, height), any_phone);
  prior.warnings.push_back(
      {code_of(PhotoFinding::focal_length_unknown),
       "The photo does not say its focal length; it was taken from the card's perspective, with "
       "wide intervals."});
  return prior;
}

std::variant<LensPrior, Refusal> lens_prior_from_profile(const Photo& photo, const CameraProfile& profile) {
  const cv::Size upright(photo.grey.cols, photo.grey.rows);
  const cv::Size stored =
      swaps_sides(photo.exif_orientation) ? cv::Size(upright.height, upright.width) : upright;
  const bool same = stored.width == profile.width_px && stored.height == profile.height_px;
  const bool swapped = stored.width == profile.height_px && stored.height == profile.width_px;
  if (!same && !swapped)
    return misfit("The camera profile is for photos of " + size_text(profile.width_px, profile.height_px) +
                  ", but this one has " + size_text(stored.width, stored.height) + ".");
  // EXIF rounds to whole millimetres: the same lens at the same zoom says the same number.
  constexpr double same_focal_mm = 0.5;
  if (photo.focal_35mm_mm && profile.focal_35mm_mm &&
      std::abs(*photo.focal_35mm_mm - *profile.focal_35mm_mm) > same_focal_mm)
    return misfit("The camera profile is for a focal length of " + focal_text(*profile.focal_35mm_mm) +
                  " (35 mm equivalent), but this photo was taken at " + focal_text(*photo.focal_35mm_mm) +
                  ".");

  LensPrior prior{profile.lens, profile.uncertainty, {}};
  prior.uncertainty.log_focal = std::hypot(prior.uncertainty.log_focal, focus_log_focal);
  if (same) {
    const cv::Point2d centre = upright_from_stored({profile.lens.centre_u_px, profile.lens.centre_v_px},
                                                   photo.exif_orientation, stored);
    prior.lens.centre_u_px = centre.x, prior.lens.centre_v_px = centre.y;
  } else {
    // Somebody turned the pixels and did not say which way: the centre's offset may lie on either side.
    const double off_u = profile.lens.centre_u_px - 0.5 * (profile.width_px - 1);
    const double off_v = profile.lens.centre_v_px - 0.5 * (profile.height_px - 1);
    prior.lens.centre_u_px = 0.5 * (upright.width - 1), prior.lens.centre_v_px = 0.5 * (upright.height - 1);
    prior.uncertainty.centre_u_px = std::hypot(profile.uncertainty.centre_u_px, off_u);
    prior.uncertainty.centre_v_px = std::hypot(profile.uncertainty.centre_v_px, off_v);
  }
  if (same == swaps_sides(photo.exif_orientation))  // the profile's u runs along the upright photo's v
    std::swap(prior.uncertainty.centre_u_px, prior.uncertainty.centre_v_px);
  if (photo.focal_35mm_mm.has_value() != profile.focal_35mm_mm.has_value())
    prior.warnings.push_back(
        {code_of(PhotoFinding::camera_profile_unchecked),
         "Photo and camera profile do not both say their focal length, so nothing shows that they "
         "are of the same lens and zoom."});
  return prior;
}

}  // namespace ripplegauge
