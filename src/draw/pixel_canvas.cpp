// Pixels that Cairo draws on and OpenCV copies from.
#include "draw/pixel_canvas.hpp"

#include <bit>
#include <opencv2/imgproc.hpp>

#include "core/expects.hpp"
#include "image/opencv_threads.hpp"

namespace ripplegauge::draw {

PixelCanvas::PixelCanvas(int width_px, int height_px, const Rgb& background)
    : pixels_(height_px, width_px, CV_8UC4),
      surface_(cairo_image_surface_create_for_data(pixels_.data, CAIRO_FORMAT_RGB24, width_px, height_px,
                                                   static_cast<int>(pixels_.step))) {
  opencv_on_our_threads();
  expects(width_px > 0 && height_px > 0, "a canvas with pixels");
  static_assert(std::endian::native == std::endian::little,
                "Cairo's pixels are native words: B, G, R in memory");
  require(cairo_surface_status(surface_.get()));
  cairo_.reset(cairo_create(surface_.get()));
  require(cairo_status(cairo()));
  set_colour(cairo(), background);
  cairo_paint(cairo());
}

void PixelCanvas::text(const std::string& text, double x, double y, const TextStyle& style) {
  if (text.empty()) return;
  show_text(cairo(), text, x, y, style);
  const double width = text_width(text, style);
  double left = x + shift_of(style.align) * width,
         top = y - 0.75 * style.size;  // about the height of capitals and digits
  cairo_user_to_device(cairo(), &left, &top);
  texts_.push_back({text, cv::Rect2d(left, top, width, 0.95 * style.size)});
}

void PixelCanvas::paste(const cv::Mat& bgr, int x, int y) {
  const cv::Rect where = cv::Rect(x, y, bgr.cols, bgr.rows) & cv::Rect(0, 0, pixels_.cols, pixels_.rows);
  if (where.empty()) return;
  cairo_surface_flush(surface_.get());
  cv::Mat target = pixels_(where);
  cv::cvtColor(bgr(where - cv::Point(x, y)), target, cv::COLOR_BGR2BGRA);
  cairo_surface_mark_dirty(surface_.get());
}

void PixelCanvas::rectangle(const cv::Rect2d& box, const Rgb& colour, double opacity) {
  set_colour(cairo(), colour, opacity);
  cairo_rectangle(cairo(), box.x, box.y, box.width, box.height);
  cairo_fill(cairo());
}

Picture PixelCanvas::picture() const {
  require(cairo_status(cairo()));
  require(cairo_surface_status(surface_.get()));
  cairo_surface_flush(surface_.get());
  Picture picture;
  cv::cvtColor(pixels_, picture.bgr, cv::COLOR_BGRA2BGR);
  picture.texts = texts_;
  return picture;
}

}  // namespace ripplegauge::draw
