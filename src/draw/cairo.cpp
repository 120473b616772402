// Cairo's surfaces and PDF files.
#include "draw/cairo.hpp"

#include <cairo-pdf.h>

#include <new>
#include <opencv2/imgproc.hpp>
#include <stdexcept>

#include "core/expects.hpp"
#include "draw/whole_pdf.hpp"
#include "words/text.hpp"

namespace ripplegauge::draw {

void require(cairo_status_t status) {
  if (status == CAIRO_STATUS_NO_MEMORY) throw std::bad_alloc();
  if (status != CAIRO_STATUS_SUCCESS)
    throw std::runtime_error(std::string("drawing failed: ") + cairo_status_to_string(status));
}

Surface surface_of(const cv::Mat& bgr) {
  Surface surface(cairo_image_surface_create(CAIRO_FORMAT_RGB24, bgr.cols, bgr.rows));
  require(cairo_surface_status(surface.get()));
  cairo_surface_flush(surface.get());
  // RGB24 is B, G, R, unused on little-endian machines, the only ones that this program is built for.
  cv::Mat pixels(bgr.rows, bgr.cols, CV_8UC4, cairo_image_surface_get_data(surface.get()),
                 static_cast<std::size_t>(cairo_image_surface_get_stride(surface.get())));
  cv::cvtColor(bgr, pixels, cv::COLOR_BGR2BGRA);
  cairo_surface_mark_dirty(surface.get());
  return surface;
}

void set_colour(cairo_t* cairo, const Rgb& colour, double opacity) {
  cairo_set_source_rgba(cairo, colour.red, colour.green, colour.blue, opacity);
}

cairo_status_t append_bytes(void* closure, const unsigned char* data, unsigned int length) {
  try {
    static_cast<std::string*>(closure)->append(reinterpret_cast<const char*>(data), length);
  } catch (const std::bad_alloc&) {  // which must not pass through Cairo
    return CAIRO_STATUS_NO_MEMORY;
  }
  return CAIRO_STATUS_SUCCESS;
}

PdfFile::PdfFile(double width_points, double height_points, const PdfInfo& info)
    : surface_(cairo_pdf_surface_create_for_stream(append_bytes, &bytes_, width_points, height_points)),
      cairo_(cairo_create(surface_.get())) {
  expects(width_points > 0 && height_points > 0, "a page with room");
  const auto say = [&](cairo_pdf_metadata_t what, const std::string& text) {
    cairo_pdf_surface_set_metadata(surface_.get(), what, printable(text).c_str());
  };
  say(CAIRO_PDF_METADATA_TITLE, info.title);
  say(CAIRO_PDF_METADATA_AUTHOR, info.author);
  // Cairo would write the time of the run, and the same page would never give the same file twice.
  say(CAIRO_PDF_METADATA_CREATE_DATE, info.date);
}

void PdfFile::end_page() { cairo_show_page(cairo()); }

std::string PdfFile::finish() {
  require(cairo_status(cairo()));
  cairo_.reset();
  cairo_surface_finish(surface_.get());
  require(cairo_surface_status(surface_.get()));
  if (!is_whole_pdf(bytes_))
    throw std::runtime_error("drawing failed: parts of the PDF are missing, as where memory runs out");
  return std::move(bytes_);
}

}  // namespace ripplegauge::draw
