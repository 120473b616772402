// A phone's lens as this program models it, in pixels of the picture as the sensor stored it:
//   u = f (1 + k1 r^2 + k2 r^4) a + centre_u,   v = f (1 + k1 r^2 + k2 r^4) b + centre_v,   r^2 = a^2 + b^2,
// where (a, b, 1) is the direction of the ray; the terms k1, k2 of OpenCV's model, one focal length for both
// axes.
#pragma once

#include <opencv2/core/types.hpp>

namespace ripplegauge {

struct Lens {
  double focal_px = 0;
  double centre_u_px = 0, centre_v_px = 0;  ///< principal point; the centre of the top-left pixel is (0, 0)
  double k1 = 0, k2 = 0;
};

/// Standard uncertainties of the same.
struct LensUncertainty {
  double log_focal = 0;  ///< of ln(focal length): relative
  double centre_u_px = 0, centre_v_px = 0;
  double k1 = 0, k2 = 0;
};

/// The pixel of the picture turned upright that shows the stored picture's pixel p. `orientation` is EXIF's,
/// 1 to 8.
cv::Point2d upright_from_stored(const cv::Point2d& p, int orientation, const cv::Size& stored);
cv::Point2d stored_from_upright(const cv::Point2d& p, int orientation, const cv::Size& upright);

/// Whether turning upright swaps width and height.
inline bool swaps_sides(int orientation) { return orientation >= 5; }

}  // namespace ripplegauge
