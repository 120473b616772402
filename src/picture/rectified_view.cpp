// The panel's plane at so many pixels a millimetre, by the homography of the card.
#include "picture/rectified_view.hpp"

#include <algorithm>
#include <cmath>
#include <opencv2/calib3d.hpp>
#include <opencv2/imgproc.hpp>

#include "drawing.hpp"

namespace ripplegauge {

cv::Mat rectified_view(const cv::Mat& photo_bgr, const std::vector<SeenPlace>& places,
                       const RectangleMm& area, double pixels_per_mm) {
  if (photo_bgr.empty() || places.size() < 4) return {};
  const cv::Size size(std::max(1, static_cast<int>(std::lround((area.x1_mm - area.x0_mm) * pixels_per_mm))),
                      std::max(1, static_cast<int>(std::lround((area.y1_mm - area.y0_mm) * pixels_per_mm))));
  std::vector<cv::Point2d> from, to;
  for (const SeenPlace& seen : places) {
    to.push_back(seen.pixel);
    // The first row is the area's upper edge; a pixel's centre lies half a pixel inside.
    from.emplace_back((seen.place.x_mm - area.x0_mm) * pixels_per_mm - 0.5,
                      (area.y1_mm - seen.place.y_mm) * pixels_per_mm - 0.5);
  }
  const cv::Mat photo_from_view = cv::findHomography(from, to);
  if (photo_from_view.empty()) return {};
  cv::Mat view;
  cv::warpPerspective(photo_bgr, view, photo_from_view, size, cv::INTER_LINEAR | cv::WARP_INVERSE_MAP,
                      cv::BORDER_CONSTANT, cv::Scalar(200, 200, 200));
  return view;
}

cv::Mat side_by_side(const std::vector<TitledPicture>& pictures) {
  constexpr int gap = 24, title_height = 44;
  const bool titled = std::any_of(pictures.begin(), pictures.end(),
                                  [](const auto& picture) { return !picture.title.empty(); });
  const int top = titled ? title_height : 0;
  int width = 0, height = 0;
  for (const TitledPicture& picture : pictures) {
    width += picture.bgr.cols + (width > 0 ? gap : 0);
    height = std::max(height, picture.bgr.rows);
  }
  picture_detail::PixelCanvas canvas(std::max(1, width), std::max(1, top + height), palette::paper);
  int x = 0;
  for (const TitledPicture& picture : pictures) {
    canvas.text(picture.title, x, top - 14, {.size = 24, .bold = true});
    canvas.paste(picture.bgr, x, top);
    x += picture.bgr.cols + gap;
  }
  return canvas.picture().bgr;
}

}  // namespace ripplegauge
