// Drawing on PDF pages in millimetres, origin at the top left, y downwards.
#pragma once

#include <opencv2/core/mat.hpp>
#include <string>
#include <vector>

#include "draw/cairo.hpp"
#include "draw/text.hpp"

namespace ripplegauge::draw {

struct PagePoint {
  double x_mm = 0, y_mm = 0;
};

struct PageBox {
  double x_mm = 0, y_mm = 0, width_mm = 0, height_mm = 0;
  double right_mm() const { return x_mm + width_mm; }
  double bottom_mm() const { return y_mm + height_mm; }
};

inline constexpr Rgb black{0, 0, 0}, white{1, 1, 1}, dark_grey{0.35, 0.35, 0.35}, mid_grey{0.6, 0.6, 0.6},
    pale_grey{0.87, 0.87, 0.87}, accent{0.05, 0.33, 0.62};

struct Pen {
  Rgb colour = black;
  double width_mm = 0.3;
  double dash_mm = 0;  ///< 0: solid
};

struct Font {
  double size_mm = 3.2;
  bool bold = false;
  Rgb colour = black;
};

class Canvas {
 public:
  Canvas(double width_mm, double height_mm, const std::string& title);

  void next_page();
  /// The whole PDF. Nothing can be drawn afterwards.
  std::string finish();

  /// As one path, so that no renderer leaves a hairline where two boxes touch.
  void fill(const std::vector<PageBox>& boxes, const Rgb& colour);
  void fill(const std::vector<PagePoint>& polygon, const Rgb& colour);
  void outline(const PageBox& box, const Pen& pen);
  void line(const std::vector<PagePoint>& points, const Pen& pen);
  /// Angles clockwise on the page, from the right.
  void arc(PagePoint centre, double radius_mm, double from_deg, double to_deg, const Pen& pen);
  void arrow_head(PagePoint tip, PagePoint from, const Rgb& colour);

  /// `at` is on the baseline.
  void text(PagePoint at, const std::string& words, const Font& font, Align align = Align::left);
  /// Turned clockwise by `angle_deg`, centred on `at`.
  void turned_text(PagePoint at, double angle_deg, const std::string& words, const Font& font);
  double text_width_mm(const std::string& words, const Font& font);
  /// Broken into lines of at most `width_mm`; `top` is above the first line. Returns the y below the last
  /// one.
  double paragraph(PagePoint top, double width_mm, const std::string& words, const Font& font);

  /// A picture (CV_8UC3) that fills the box, as pale as `opacity` makes it.
  void picture(const cv::Mat& bgr, const PageBox& box, double opacity = 1);

  /// Everything drawn by `draw` comes out enlarged from the top left corner of the page.
  template <class Draw>
  void enlarged(double factor, Draw&& draw) {
    cairo_save(cairo());
    cairo_scale(cairo(), factor, factor);
    draw();
    cairo_restore(cairo());
  }

  /// Everything drawn by `draw` stays inside the box.
  template <class Draw>
  void clipped(const PageBox& box, Draw&& draw) {
    cairo_save(cairo());
    cairo_rectangle(cairo(), box.x_mm, box.y_mm, box.width_mm, box.height_mm);
    cairo_clip(cairo());
    draw();
    cairo_restore(cairo());
  }

 private:
  void start_page();
  void stroke(const Pen& pen);
  void path(const std::vector<PagePoint>& points);

  cairo_t* cairo() const { return file_.cairo(); }

  PdfFile file_;
};

}  // namespace ripplegauge::draw
