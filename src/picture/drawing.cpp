#include "drawing.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdio>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <sstream>
#include <stdexcept>

namespace ripplegauge::picture_detail {
namespace {

/// Length of the well-formed UTF-8 character at `at`, 0 if there is none (The Unicode Standard, table 3-7).
std::size_t character_length(const std::string& text, std::size_t at) {
  const auto byte = [&](std::size_t i) -> unsigned {
    return at + i < text.size() ? static_cast<unsigned char>(text[at + i]) : 0u;
  };
  const auto continues = [&](std::size_t i) { return (byte(i) & 0xC0u) == 0x80u; };
  const unsigned first = byte(0), second = byte(1);
  if (first < 0x80) return 1;
  if (first >= 0xC2 && first <= 0xDF) return continues(1) ? 2 : 0;
  if (first >= 0xE0 && first <= 0xEF) {
    if (!continues(1) || !continues(2)) return 0;
    if ((first == 0xE0 && second < 0xA0) || (first == 0xED && second > 0x9F)) return 0;
    return 3;
  }
  if (first >= 0xF0 && first <= 0xF4) {
    if (!continues(1) || !continues(2) || !continues(3)) return 0;
    if ((first == 0xF0 && second < 0x90) || (first == 0xF4 && second > 0x8F)) return 0;
    return 4;
  }
  return 0;
}

void remove_last_character(std::string& text) {
  while (!text.empty() && (static_cast<unsigned char>(text.back()) & 0xC0) == 0x80) text.pop_back();
  if (!text.empty()) text.pop_back();
}

void select_font(cairo_t* cairo, const TextStyle& style) {
  cairo_select_font_face(cairo, "sans-serif", CAIRO_FONT_SLANT_NORMAL,
                         style.bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
  cairo_set_font_size(cairo, style.size);
}

double advance(cairo_t* cairo, const std::string& clean_text) {
  cairo_text_extents_t extents;
  cairo_text_extents(cairo, clean_text.c_str(), &extents);
  return extents.x_advance;
}

int decimals_of(const Quantity& quantity) {
  const double half = quantity.half_width();
  if (!std::isfinite(half)) return quantity.value < 1 ? 3 : 1;
  return half >= 9.5 ? 0 : half >= 0.095 ? 1 : half >= 0.0095 ? 2 : 3;
}

std::string format(const char* pattern, auto... values) {
  char text[200];
  std::snprintf(text, sizeof text, pattern, values...);
  return text;
}

}  // namespace

std::string printable(const std::string& text) {
  std::string out;
  for (std::size_t at = 0; at < text.size();) {
    const std::size_t length = character_length(text, at);
    if (length == 0)
      out += "\uFFFD";
    else if (length == 1 && (static_cast<unsigned char>(text[at]) < 0x20 || text[at] == 0x7F))
      out += ' ';
    else
      out.append(text, at, length);
    at += std::max<std::size_t>(length, 1);
  }
  return out;
}

void require(cairo_status_t status) {
  if (status != CAIRO_STATUS_SUCCESS)
    throw std::runtime_error(std::string("drawing failed: ") + cairo_status_to_string(status));
}

void set_colour(cairo_t* cairo, const Rgb& colour, double opacity) {
  cairo_set_source_rgba(cairo, colour.red, colour.green, colour.blue, opacity);
}

void show_text(cairo_t* cairo, const std::string& text, double x, double y, const TextStyle& style) {
  const std::string clean = printable(text);
  select_font(cairo, style);
  const double shift = style.align == Align::left ? 0 : style.align == Align::centre ? 0.5 : 1;
  set_colour(cairo, style.colour);
  cairo_move_to(cairo, x - shift * advance(cairo, clean), y);
  cairo_show_text(cairo, clean.c_str());
  cairo_new_path(cairo);  // the text leaves a current point, from which the next line would start
}

double text_width(cairo_t* cairo, const std::string& text, const TextStyle& style) {
  select_font(cairo, style);
  return advance(cairo, printable(text));
}

std::string fitted(cairo_t* cairo, std::string text, const TextStyle& style, double width) {
  text = printable(text);
  select_font(cairo, style);
  if (advance(cairo, text) <= width) return text;
  const std::string dots = "\u2026";
  while (!text.empty() && advance(cairo, text + dots) > width) remove_last_character(text);
  return text + dots;
}

std::vector<std::string> wrapped(cairo_t* cairo, const std::string& text, const TextStyle& style,
                                 double width, std::size_t max_lines) {
  std::istringstream words(printable(text));
  std::vector<std::string> lines;
  for (std::string word; words >> word;) {
    const std::string longer = lines.empty() ? word : lines.back() + " " + word;
    const bool goes_on =
        !lines.empty() && (lines.size() == max_lines || text_width(cairo, longer, style) <= width);
    if (goes_on)
      lines.back() = longer;
    else
      lines.push_back(word);
  }
  for (std::string& line : lines) line = fitted(cairo, line, style, width);
  return lines;
}

double round_step(double span, int count) {
  const double raw = span / count;
  const double power = std::pow(10.0, std::floor(std::log10(raw)));
  for (const double factor : {1.0, 2.0, 5.0})
    if (factor * power >= raw) return factor * power;
  return 10 * power;
}

std::string tick_text(double value, double step) {
  const int decimals = std::max(0, static_cast<int>(std::ceil(-std::log10(step) - 1e-9)));
  return format("%.*f", decimals, std::abs(value) < step / 1000 ? 0.0 : value);
}

Canvas::Canvas(int width_px, int height_px, const Rgb& background)
    : pixels_(height_px, width_px, CV_8UC4),
      surface_(cairo_image_surface_create_for_data(pixels_.data, CAIRO_FORMAT_RGB24, width_px, height_px,
                                                   static_cast<int>(pixels_.step))) {
  static_assert(std::endian::native == std::endian::little,
                "Cairo's pixels are native words: B, G, R in memory");
  require(cairo_surface_status(surface_.get()));
  cairo_.reset(cairo_create(surface_.get()));
  require(cairo_status(cairo()));
  set_colour(cairo(), background);
  cairo_paint(cairo());
}

void Canvas::text(const std::string& text, double x, double y, const TextStyle& style) {
  if (text.empty()) return;
  show_text(cairo(), text, x, y, style);
  const double width = text_width(cairo(), text, style);
  const double shift = style.align == Align::left ? 0 : style.align == Align::centre ? 0.5 : 1;
  double left = x - shift * width, top = y - 0.75 * style.size;  // about the height of capitals and digits
  cairo_user_to_device(cairo(), &left, &top);
  texts_.push_back({text, cv::Rect2d(left, top, width, 0.95 * style.size)});
}

void Canvas::paste(const cv::Mat& bgr, int x, int y) {
  const cv::Rect where = cv::Rect(x, y, bgr.cols, bgr.rows) & cv::Rect(0, 0, pixels_.cols, pixels_.rows);
  if (where.empty()) return;
  cairo_surface_flush(surface_.get());
  cv::Mat target = pixels_(where);
  cv::cvtColor(bgr(where - cv::Point(x, y)), target, cv::COLOR_BGR2BGRA);
  cairo_surface_mark_dirty(surface_.get());
}

void Canvas::rectangle(const cv::Rect2d& box, const Rgb& colour, double opacity) {
  set_colour(cairo(), colour, opacity);
  cairo_rectangle(cairo(), box.x, box.y, box.width, box.height);
  cairo_fill(cairo());
}

Picture Canvas::picture() const {
  require(cairo_status(cairo()));
  cairo_surface_flush(surface_.get());
  Picture picture;
  cv::cvtColor(pixels_, picture.bgr, cv::COLOR_BGRA2BGR);
  picture.texts = texts_;
  return picture;
}

const Rgb& colour_of(Kind kind) { return kind == Kind::low ? palette::low : palette::high; }

void set_dashes(cairo_t* cairo, Kind kind, double line_width) {
  const double dashes[] = {4 * line_width, 2.5 * line_width};
  cairo_set_dash(cairo, dashes, kind == Kind::high ? 2 : 0, 0);
}

void draw_badge(Canvas& canvas, int number, Kind kind, double x, double y, double size) {
  cairo_t* cairo = canvas.cairo();
  set_colour(cairo, colour_of(kind));
  cairo_new_path(cairo);
  if (kind == Kind::low) {
    cairo_arc(cairo, x, y, 0.8 * size, 0, 2 * std::numbers::pi);
  } else {
    const double half = 0.98 * size;
    cairo_move_to(cairo, x, y - half);
    cairo_line_to(cairo, x + half, y);
    cairo_line_to(cairo, x, y + half);
    cairo_line_to(cairo, x - half, y);
    cairo_close_path(cairo);
  }
  cairo_fill(cairo);
  const double digits = number > 9 ? 0.78 * size : 0.95 * size;
  canvas.text(std::to_string(number), x, y + 0.36 * digits, {digits, palette::paper, Align::centre, true});
}

std::string with_interval(const Quantity& quantity, const char* unit) {
  if (!std::isfinite(quantity.value)) return "not known";
  const int decimals = decimals_of(quantity);
  if (!std::isfinite(quantity.half_width())) return format("%.*f %s", decimals, quantity.value, unit);
  return format("%.*f %s (%.*f to %.*f)", decimals, quantity.value, unit, decimals, quantity.low, decimals,
                quantity.high);
}

std::string without_interval(const Quantity& quantity, const char* unit) {
  if (!std::isfinite(quantity.value)) return "?";
  return format("%.*f %s", decimals_of(quantity), quantity.value, unit);
}

}  // namespace ripplegauge::picture_detail
