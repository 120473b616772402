// The pages of sheets and plans: shapes and text in millimetres on Cairo's PDF surface.
#include "draw/canvas.hpp"

#include <cmath>
#include <numbers>

namespace ripplegauge::draw {
namespace {

/// 1 pt = 1/72 in (ISO 32000-1, 8.3.2.3), 1 in = 25.4 mm.
constexpr double points_per_mm = 72 / 25.4;

/// A fixed date: the same sheet is the same file.
constexpr const char* no_date = "2000-01-01T00:00:00Z";

double radians(double degrees) { return degrees * std::numbers::pi / 180; }

TextStyle style_of(const Font& font, Align align = Align::left) {
  return {font.size_mm, font.colour, align, font.bold};
}

}  // namespace

Canvas::Canvas(double width_mm, double height_mm, const std::string& title)
    : file_(width_mm * points_per_mm, height_mm * points_per_mm, {title, "", no_date}) {
  start_page();
}

void Canvas::start_page() {
  cairo_identity_matrix(cairo());
  cairo_scale(cairo(), points_per_mm, points_per_mm);
}

void Canvas::next_page() {
  file_.end_page();
  start_page();
}

std::string Canvas::finish() {
  file_.end_page();
  return file_.finish();
}

void Canvas::stroke(const Pen& pen) {
  set_colour(cairo(), pen.colour);
  cairo_set_line_width(cairo(), pen.width_mm);
  const double dashes[] = {pen.dash_mm, 0.7 * pen.dash_mm};
  cairo_set_dash(cairo(), dashes, pen.dash_mm > 0 ? 2 : 0, 0);
  cairo_stroke(cairo());
}

void Canvas::path(const std::vector<PagePoint>& points) {
  cairo_new_path(cairo());
  for (const PagePoint& point : points) cairo_line_to(cairo(), point.x_mm, point.y_mm);
}

void Canvas::fill(const std::vector<PageBox>& boxes, const Rgb& colour) {
  cairo_new_path(cairo());
  for (const PageBox& box : boxes) cairo_rectangle(cairo(), box.x_mm, box.y_mm, box.width_mm, box.height_mm);
  set_colour(cairo(), colour);
  cairo_fill(cairo());
}

void Canvas::fill(const std::vector<PagePoint>& polygon, const Rgb& colour) {
  path(polygon);
  set_colour(cairo(), colour);
  cairo_fill(cairo());
}

void Canvas::outline(const PageBox& box, const Pen& pen) {
  cairo_new_path(cairo());
  cairo_rectangle(cairo(), box.x_mm, box.y_mm, box.width_mm, box.height_mm);
  stroke(pen);
}

void Canvas::line(const std::vector<PagePoint>& points, const Pen& pen) {
  path(points);
  stroke(pen);
}

void Canvas::arc(PagePoint centre, double radius_mm, double from_deg, double to_deg, const Pen& pen) {
  cairo_new_path(cairo());
  cairo_arc(cairo(), centre.x_mm, centre.y_mm, radius_mm, radians(from_deg), radians(to_deg));
  stroke(pen);
}

void Canvas::arrow_head(PagePoint tip, PagePoint from, const Rgb& colour) {
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
  return text_width(words, style_of(font));
}

void Canvas::text(PagePoint at, const std::string& words, const Font& font, Align align) {
  show_text(cairo(), words, at.x_mm, at.y_mm, style_of(font, align));
}

void Canvas::turned_text(PagePoint at, double angle_deg, const std::string& words, const Font& font) {
  cairo_save(cairo());
  cairo_translate(cairo(), at.x_mm, at.y_mm);
  cairo_rotate(cairo(), radians(angle_deg));
  text({0, 0}, words, font, Align::centre);
  cairo_restore(cairo());
}

void Canvas::picture(const cv::Mat& bgr, const PageBox& box, double opacity) {
  const Surface surface = surface_of(bgr);
  cairo_save(cairo());
  cairo_rectangle(cairo(), box.x_mm, box.y_mm, box.width_mm, box.height_mm);
  cairo_clip(cairo());
  cairo_translate(cairo(), box.x_mm, box.y_mm);
  cairo_scale(cairo(), box.width_mm / bgr.cols, box.height_mm / bgr.rows);
  cairo_set_source_surface(cairo(), surface.get(), 0, 0);
  cairo_paint_with_alpha(cairo(), opacity);
  cairo_restore(cairo());
}

double Canvas::paragraph(PagePoint top, double width_mm, const std::string& words, const Font& font) {
  const double line_height_mm = 1.4 * font.size_mm;
  double y_mm = top.y_mm;
  for (const std::string& line : lines_of(words, style_of(font), width_mm)) {
    text({top.x_mm, y_mm + font.size_mm}, line, font);
    y_mm += line_height_mm;
  }
  return y_mm;
}

}  // namespace ripplegauge::draw
