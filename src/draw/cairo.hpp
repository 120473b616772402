// Cairo's objects as C++ has them, and PDF files made of them. Throws std::runtime_error where Cairo fails.
#pragma once

#include <cairo.h>

#include <memory>
#include <opencv2/core/mat.hpp>
#include <string>

#include "draw/colour.hpp"

namespace ripplegauge::draw {

struct DestroySurface {
  void operator()(cairo_surface_t* surface) const { cairo_surface_destroy(surface); }
};
struct DestroyContext {
  void operator()(cairo_t* cairo) const { cairo_destroy(cairo); }
};
using Surface = std::unique_ptr<cairo_surface_t, DestroySurface>;
using Context = std::unique_ptr<cairo_t, DestroyContext>;

/// Throws std::bad_alloc where memory ran out, std::runtime_error for anything else but success.
void require(cairo_status_t status);

/// A picture (CV_8UC3) as Cairo paints it.
Surface surface_of(const cv::Mat& bgr);

void set_colour(cairo_t* cairo, const Rgb& colour, double opacity = 1);

/// For Cairo's stream functions; the closure is the std::string that grows.
cairo_status_t append_bytes(void* closure, const unsigned char* data, unsigned int length);

struct PdfInfo {
  std::string title, author;
  std::string date;  ///< as the page says it; else none, since the same page should be the same file
};

/// A PDF in memory, drawn in points (1/72 in) from the top left corner of each page.
class PdfFile {
 public:
  PdfFile(double width_points, double height_points, const PdfInfo& info);
  cairo_t* cairo() const { return cairo_.get(); }
  void end_page();
  /// The whole file, its last page ended before. Nothing can be drawn afterwards.
  std::string finish();

 private:
  std::string bytes_;
  Surface surface_;
  Context cairo_;
};

}  // namespace ripplegauge::draw
