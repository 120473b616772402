// What follows from a photo's size and what EXIF says.
#include "ripplegauge/image/photo.hpp"

#include <cmath>

#include "core/expects.hpp"

namespace ripplegauge {

double focal_px_from_35mm(double focal_35mm_mm, int width_px, int height_px) {
  expects(width_px > 0 && height_px > 0, "a photo with pixels");
  const double frame_diagonal_mm = std::hypot(36.0, 24.0);
  return focal_35mm_mm * std::hypot(width_px, height_px) / frame_diagonal_mm;
}

}  // namespace ripplegauge
