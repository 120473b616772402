#include "canvas.hpp"

#include <cairo-pdf.h>

#include <cmath>
#include <numbers>
#include <sstream>
#include <stdexcept>

namespace ripplegauge {
namespace {

/// 1 pt = 1/72 in (ISO 32000-1, 8.3.2.3), 1 in = 25.4 mm.
constexpr double points_per_mm = 72 / 25.4;

cairo_status_t append_to_string(void* target, const unsigned char* data, unsigned int size) {
  static_cast<std::string*>(target)->append(reinterpret_cast<const char*>(data), size);
  return CAIRO_STATUS_SUCCESS;
}

double radians(double degrees) { return degrees * std::numbers::pi / 180; }

}  // namespace

Canvas::Canvas(double width_mm, double height_mm, const std::string& title)
    : surface_(cairo_pdf_surface_create_for_stream(append_to_string, &bytes_, width_mm * points_per_mm,
                                                   height_mm * points_per_mm)),
      cairo_(cairo_create(surface_.get())) {
  cairo_pdf_surface_set_metadata(surface_.get(), CAIRO_PDF_METADATA_TITLE, title.c_str());
  // A fixed date: the same sheet is the same file.
  cairo_pdf_surface_set_metadata(surface_.get(), CAIRO_PDF_METADATA_CREATE_DATE, "2000-01-01T00:00:00Z");
  start_page();
}

void Canvas::start_page() {
  cairo_identity_matrix(cairo_.get());
  cairo_scale(cairo_.get(), points_per_mm, points_per_mm);
}

void Canvas::next_page() {
  cairo_show_page(cairo_.get());
  start_page();
}

std::string Canvas::finish() {
  cairo_show_page(cairo_.get());
  cairo_surface_finish(surface_.get());
  const cairo_status_t status = cairo_surface_status(surface_.get());
  if (status != CAIRO_STATUS_SUCCESS)
    throw std::runtime_error(std::string("Cairo: ") + cairo_status_to_string(status));
  return std::move(bytes_);
}

void Canvas::use(Colour colour) { cairo_set_source_rgb(cairo_.get(), colour.red, colour.green, colour.blue); }

void Canvas::use(const Font& font) {
  cairo_select_font_face(cairo_.get(), "sans-serif", CAIRO_FONT_SLANT_NORMAL,
                         font.bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
  cairo_set_font_size(cairo_.get(), font.size_mm);
  use(font.colour);
}

void Canvas::stroke(const Pen& pen) {
  use(pen.colour);
  cairo_set_line_width(cairo_.get(), pen.width_mm);
  const double dashes[] = {pen.dash_mm, 0.7 * pen.dash_mm};
  cairo_set_dash(cairo_.get(), dashes, pen.dash_mm > 0 ? 2 : 0, 0);
  cairo_stroke(cairo_.get());
}

void Canvas::path(const std::vector<PagePoint>& points) {
  cairo_new_path(cairo_.get());
  for (const PagePoint& point : points) cairo_line_to(cairo_.get(), point.x_mm, point.y_mm);
}

void Canvas::fill(const std::vector<PageBox>& boxes, Colour colour) {
  cairo_new_path(cairo_.get());
  for (const PageBox& box : boxes)
    cairo_rectangle(cairo_.get(), box.x_mm, box.y_mm, box.width_mm, box.height_mm);
  use(colour);
  cairo_fill(cairo_.get());
}

void Canvas::fill(const std::vector<PagePoint>& polygon, Colour colour) {
  path(polygon);
  use(colour);
  cairo_fill(cairo_.get());
}

void Canvas::outline(const PageBox& box, const Pen& pen) {
  cairo_new_path(cairo_.get());
  cairo_rectangle(cairo_.get(), box.x_mm, box.y_mm, box.width_mm, box.height_mm);
  stroke(pen);
}

void Canvas::line(const std::vector<PagePoint>& points, const Pen& pen) {
  path(points);
  stroke(pen);
}

void Canvas::arc(PagePoint centre, double radius_mm, double from_deg, double to_deg, const Pen& pen) {
  cairo_new_path(cairo_.get());
  cairo_arc(cairo_.get(), centre.x_mm, centre.y_mm, radius_mm, radians(from_deg), radians(to_deg));
  stroke(pen);
}

void Canvas::arrow_head(PagePoint tip, PagePoint from, Colour colour) {
  constexpr double length_mm = 2.4, half_width_mm = 0.8;
  const double distance_mm = std::hypot(tip.x_mm - from.x_mm, tip.y_mm - from.y_mm);
  const double along_x = (tip.x_mm - from.x_mm) / distance_mm, along_y = (tip.y_mm - from.y_mm) / distance_mm;
  const PagePoint base{tip.x_mm - length_mm * along_x, tip.y_mm - length_mm * along_y};
  fill({tip,
        {base.x_mm - half_width_mm * along_y, base.y_mm + half_width_mm * along_x},
        {base.x_mm + half_width_mm * along_y, base.y_mm - half_width_mm * along_x}},
       colour);
}

double Canvas::text_width_mm(const std::string& words, const Font& font) {
  use(font);
  cairo_text_extents_t extents;
  cairo_text_extents(cairo_.get(), words.c_str(), &extents);
  return extents.x_advance;
}

void Canvas::text(PagePoint at, const std::string& words, const Font& font, Align align) {
  const double width_mm = text_width_mm(words, font);
  const double shift = align == Align::left ? 0 : align == Align::centre ? 0.5 : 1;
  cairo_move_to(cairo_.get(), at.x_mm - shift * width_mm, at.y_mm);
  cairo_show_text(cairo_.get(), words.c_str());
}

void Canvas::turned_text(PagePoint at, double angle_deg, const std::string& words, const Font& font) {
  cairo_save(cairo_.get());
  cairo_translate(cairo_.get(), at.x_mm, at.y_mm);
  cairo_rotate(cairo_.get(), radians(angle_deg));
  text({0, 0}, words, font, Align::centre);
  cairo_restore(cairo_.get());
}

double Canvas::paragraph(PagePoint top, double width_mm, const std::string& words, const Font& font) {
  const double line_height_mm = 1.4 * font.size_mm;
  double y_mm = top.y_mm + font.size_mm;
  std::istringstream stream(words);
  std::string line;
  for (std::string word; stream >> word;) {
    const std::string longer = line.empty() ? word : line + " " + word;
    if (!line.empty() && text_width_mm(longer, font) > width_mm) {
      text({top.x_mm, y_mm}, line, font);
      y_mm += line_height_mm;
      line = word;
    } else {
      line = longer;
    }
  }
  text({top.x_mm, y_mm}, line, font);
  return y_mm + line_height_mm - font.size_mm;
}

}  // namespace ripplegauge
