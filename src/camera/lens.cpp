// Pixels of the stored picture and of the upright one: the eight orientations that EXIF knows.
#include "ripplegauge/camera/lens.hpp"

namespace ripplegauge {

cv::Point2d upright_from_stored(const cv::Point2d& p, int orientation, const cv::Size& stored) {
  const double u = p.x, v = p.y, right = stored.width - 1.0, bottom = stored.height - 1.0;
  switch (orientation) {
    case 2:
      return {right - u, v};
    case 3:
      return {right - u, bottom - v};
    case 4:
      return {u, bottom - v};
    case 5:
      return {v, u};
    case 6:
      return {bottom - v, u};
    case 7:
      return {bottom - v, right - u};
    case 8:
      return {v, right - u};
    default:
      return p;
  }
}

cv::Point2d stored_from_upright(const cv::Point2d& p, int orientation, const cv::Size& upright) {
  // Quarter turns undo each other; everything else undoes itself.
  const int inverse = orientation == 6 ? 8 : orientation == 8 ? 6 : orientation;
  return upright_from_stored(p, inverse, upright);
}

}  // namespace ripplegauge
