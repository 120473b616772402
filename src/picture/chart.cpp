#include "ripplegauge/picture/chart.hpp"

#include <cairo-svg.h>
#include <cairo.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <cstdio>
#include <memory>
#include <numbers>
#include <stdexcept>

namespace ripplegauge {

namespace {

constexpr double kPanelWidth = 380, kPanelHeight = 260, kGap = 16, kTitleHeight = 34, kFootHeight = 22;
constexpr double kLeft = 52, kRight = 14, kTop = 44, kBottom = 44;

struct Rgb {
  double red, green, blue;
};
constexpr Rgb from_hex(unsigned hex) {
  return {((hex >> 16) & 255u) / 255.0, ((hex >> 8) & 255u) / 255.0, (hex & 255u) / 255.0};
}
constexpr Rgb kInk = from_hex(0x222222), kGrey = from_hex(0x666666), kGrid = from_hex(0xdddddd);

/// Told apart by the colour-blind too (Okabe and Ito, Color Universal Design, 2008); yellow is left out, it
/// does not show on white.
constexpr std::array<Rgb, 6> kColours = {from_hex(0x0072b2), from_hex(0xd55e00), from_hex(0x009e73),
                                         from_hex(0xcc79a7), from_hex(0xe69f00), from_hex(0x56b4e9)};

void set_colour(cairo_t* cairo, const Rgb& colour, double opacity = 1) {
  cairo_set_source_rgba(cairo, colour.red, colour.green, colour.blue, opacity);
}

enum class Align { left, centre, right };

void show_text(cairo_t* cairo, const std::string& text, double x, double y, double size, const Rgb& colour,
               Align align = Align::left, bool bold = false) {
  cairo_select_font_face(cairo, "sans-serif", CAIRO_FONT_SLANT_NORMAL,
                         bold ? CAIRO_FONT_WEIGHT_BOLD : CAIRO_FONT_WEIGHT_NORMAL);
  cairo_set_font_size(cairo, size);
  cairo_text_extents_t extents;
  cairo_text_extents(cairo, text.c_str(), &extents);
  const double shift = align == Align::left ? 0 : align == Align::centre ? 0.5 : 1;
  set_colour(cairo, colour);
  cairo_move_to(cairo, x - shift * extents.x_advance, y);
  cairo_show_text(cairo, text.c_str());
  cairo_new_path(cairo);  // the text leaves a current point, from which the next line would start
}

/// The text shortened to the width, at a character's boundary.
std::string fitted(cairo_t* cairo, std::string text, double size, double width) {
  cairo_set_font_size(cairo, size);
  const auto too_wide = [&](const std::string& candidate) {
    cairo_text_extents_t extents;
    cairo_text_extents(cairo, candidate.c_str(), &extents);
    return extents.x_advance > width;
  };
  if (!too_wide(text)) return text;
  const std::string dots = "\u2026";
  while (!text.empty() && too_wide(text + dots)) {
    while (!text.empty() && (static_cast<unsigned char>(text.back()) & 0xC0) == 0x80) text.pop_back();
    if (!text.empty()) text.pop_back();
  }
  return text + dots;
}

/// Round steps of 1, 2 or 5 times a power of ten, about `count` of them.
double round_step(double span, int count) {
  const double raw = span / count;
  const double power = std::pow(10.0, std::floor(std::log10(raw)));
  for (const double factor : {1.0, 2.0, 5.0})
    if (factor * power >= raw) return factor * power;
  return 10 * power;
}

std::string tick_text(double value, double step) {
  const int decimals = std::max(0, static_cast<int>(std::ceil(-std::log10(step) - 1e-9)));
  char text[32];
  std::snprintf(text, sizeof text, "%.*f", decimals, std::abs(value) < step / 1000 ? 0.0 : value);
  return text;
}

struct Range {
  double low = 0, high = 1;
};

/// A panel's axes, in panel coordinates.
class Axes {
 public:
  explicit Axes(const ChartPanel& panel) {
    std::optional<Range> x, y;
    const auto include = [](std::optional<Range>& range, double value) {
      if (!std::isfinite(value)) return;
      range = range ? Range{std::min(range->low, value), std::max(range->high, value)} : Range{value, value};
    };
    for (const ChartLine& line : panel.lines) {
      for (const ChartPoint& point : line.points) {
        include(x, point.x);
        include(y, point.y);
        if (line.dashed) continue;
        include(y, point.low.value_or(point.y));
        include(y, point.high.value_or(point.y));
      }
    }
    if (panel.y_from) include(y, *panel.y_from);
    if (panel.y_to) include(y, *panel.y_to);
    if (x) x_ = *x;
    if (y) y_ = *y;
    if (!(y_.high > y_.low)) y_ = {y_.low - 0.5, y_.high + 0.5};
    x_ = {x_.low - 0.5, x_.high + 0.5};
    step_ = round_step(y_.high - y_.low, 5);
    y_ = {std::floor(y_.low / step_ + 1e-9) * step_, std::ceil(y_.high / step_ - 1e-9) * step_};
  }

  double x(double value) const {
    return kLeft + (value - x_.low) / (x_.high - x_.low) * (kPanelWidth - kLeft - kRight);
  }
  double y(double value) const {
    return kPanelHeight - kBottom -
           (std::clamp(value, y_.low, y_.high) - y_.low) / (y_.high - y_.low) *
               (kPanelHeight - kTop - kBottom);
  }
  const Range& x_range() const { return x_; }
  const Range& y_range() const { return y_; }
  double y_step() const { return step_; }

 private:
  Range x_, y_;
  double step_ = 1;
};

void draw_axes(cairo_t* cairo, const ChartPanel& panel, const Axes& axes) {
  cairo_set_line_width(cairo, 1);
  const int y_count =
      static_cast<int>(std::lround((axes.y_range().high - axes.y_range().low) / axes.y_step()));
  for (int i = 0; i <= y_count; ++i) {
    const double value = axes.y_range().low + i * axes.y_step();
    const bool zero = std::abs(value) < axes.y_step() / 1000;
    set_colour(cairo, zero ? kGrey : kGrid);
    cairo_move_to(cairo, kLeft, std::round(axes.y(value)) + 0.5);
    cairo_line_to(cairo, kPanelWidth - kRight, std::round(axes.y(value)) + 0.5);
    cairo_stroke(cairo);
    show_text(cairo, tick_text(value, axes.y_step()), kLeft - 6, axes.y(value) + 4, 11, kGrey, Align::right);
  }
  const int first = static_cast<int>(std::ceil(axes.x_range().low)),
            last = static_cast<int>(std::floor(axes.x_range().high));
  const int x_step = std::max(1, static_cast<int>(std::ceil((last - first + 1) / 12.0)));
  const double slot = axes.x(x_step) - axes.x(0) - 4;
  for (int value = first; value <= last; value += x_step) {
    const auto index = static_cast<std::size_t>(value - 1);
    const std::string name =
        value >= 1 && index < panel.x_names.size() ? panel.x_names[index] : std::to_string(value);
    show_text(cairo, fitted(cairo, name, 11, slot), axes.x(value), kPanelHeight - kBottom + 16, 11, kGrey,
              Align::centre);
  }
  show_text(cairo, panel.x_label, 0.5 * (kLeft + kPanelWidth - kRight), kPanelHeight - 8, 11, kInk,
            Align::centre);
  cairo_save(cairo);
  cairo_translate(cairo, 12, 0.5 * (kTop + kPanelHeight - kBottom));
  cairo_rotate(cairo, -std::numbers::pi / 2);
  show_text(cairo, panel.y_label, 0, 0, 11, kInk, Align::centre);
  cairo_restore(cairo);
}

void draw_marker(cairo_t* cairo, double x, double y, bool flagged) {
  if (flagged) {
    cairo_move_to(cairo, x, y - 6.5);
    cairo_line_to(cairo, x + 6, y + 4.5);
    cairo_line_to(cairo, x - 6, y + 4.5);
    cairo_close_path(cairo);
  } else {
    cairo_new_sub_path(cairo);
    cairo_arc(cairo, x, y, 3.5, 0, 2 * std::numbers::pi);
  }
  cairo_fill(cairo);
}

void draw_line(cairo_t* cairo, const ChartLine& line, const Axes& axes, const Rgb& colour) {
  set_colour(cairo, line.dashed ? kGrey : colour);
  cairo_set_line_width(cairo, line.dashed ? 1.2 : 1.8);
  const double dashes[] = {5, 4};
  cairo_set_dash(cairo, dashes, line.dashed ? 2 : 0, 0);
  for (const ChartPoint& point : line.points) cairo_line_to(cairo, axes.x(point.x), axes.y(point.y));
  cairo_stroke(cairo);
  cairo_set_dash(cairo, dashes, 0, 0);
  if (line.dashed) return;
  for (const ChartPoint& point : line.points) {
    if (point.low && point.high) {
      cairo_set_line_width(cairo, 1.2);
      cairo_move_to(cairo, axes.x(point.x), axes.y(*point.low));
      cairo_line_to(cairo, axes.x(point.x), axes.y(*point.high));
      for (const double end : {*point.low, *point.high}) {
        cairo_move_to(cairo, axes.x(point.x) - 4, axes.y(end));
        cairo_line_to(cairo, axes.x(point.x) + 4, axes.y(end));
      }
      cairo_stroke(cairo);
    }
    draw_marker(cairo, axes.x(point.x), axes.y(point.y), point.flagged);
  }
}

void draw_panel(cairo_t* cairo, const ChartPanel& panel) {
  const double width = kPanelWidth - kLeft - kRight;
  cairo_select_font_face(cairo, "sans-serif", CAIRO_FONT_SLANT_NORMAL, CAIRO_FONT_WEIGHT_BOLD);
  show_text(cairo, fitted(cairo, panel.title, 13, width), kLeft, 14, 13, kInk, Align::left, true);
  cairo_select_font_face(cairo, "sans-serif", CAIRO_FONT_SLANT_NORMAL, CAIRO_FONT_WEIGHT_NORMAL);
  show_text(cairo, fitted(cairo, panel.note, 11, width), kLeft, 31, 11, kGrey);

  const Axes axes(panel);
  draw_axes(cairo, panel, axes);
  std::size_t colour = 0;
  double legend_y = kTop + 12;
  for (const ChartLine& line : panel.lines) {
    const Rgb& ink = kColours[line.dashed ? 0 : colour++ % kColours.size()];
    draw_line(cairo, line, axes, ink);
    if (line.label.empty()) continue;
    show_text(cairo, fitted(cairo, line.label, 11, width / 2), kPanelWidth - kRight - 6, legend_y, 11,
              line.dashed ? kGrey : ink, Align::right);
    legend_y += 14;
  }
}

cairo_status_t append_bytes(void* closure, const unsigned char* data, unsigned int length) {
  static_cast<std::string*>(closure)->append(reinterpret_cast<const char*>(data), length);
  return CAIRO_STATUS_SUCCESS;
}

struct DestroySurface {
  void operator()(cairo_surface_t* surface) const { cairo_surface_destroy(surface); }
};
struct DestroyContext {
  void operator()(cairo_t* cairo) const { cairo_destroy(cairo); }
};
using Surface = std::unique_ptr<cairo_surface_t, DestroySurface>;
using Context = std::unique_ptr<cairo_t, DestroyContext>;

void require(cairo_status_t status) {
  if (status != CAIRO_STATUS_SUCCESS)
    throw std::runtime_error(std::string("drawing the chart failed: ") + cairo_status_to_string(status));
}

void draw_on(const Surface& surface, const Chart& chart, double scale) {
  const Context cairo(cairo_create(surface.get()));
  cairo_scale(cairo.get(), scale, scale);
  set_colour(cairo.get(), {1, 1, 1});
  cairo_paint(cairo.get());
  draw_chart(cairo.get(), chart);
  require(cairo_status(cairo.get()));
}

}  // namespace

ChartSize size_of(const Chart& chart) {
  const int panels = std::max(1, static_cast<int>(chart.panels.size()));
  const int columns = std::clamp(chart.columns, 1, panels);
  const int rows = (panels + columns - 1) / columns;
  return {columns * (kPanelWidth + kGap) + kGap,
          kTitleHeight + rows * (kPanelHeight + kGap) + kGap + (chart.footnote.empty() ? 0 : kFootHeight)};
}

void draw_chart(cairo_t* cairo, const Chart& chart) {
  const ChartSize size = size_of(chart);
  const int columns = std::clamp(chart.columns, 1, std::max(1, static_cast<int>(chart.panels.size())));
  cairo_save(cairo);
  show_text(cairo, chart.title, kGap, 24, 16, kInk, Align::left, true);
  for (std::size_t i = 0; i < chart.panels.size(); ++i) {
    const int row = static_cast<int>(i) / columns, column = static_cast<int>(i) % columns;
    cairo_save(cairo);
    cairo_translate(cairo, kGap + column * (kPanelWidth + kGap),
                    kTitleHeight + kGap / 2 + row * (kPanelHeight + kGap));
    draw_panel(cairo, chart.panels[i]);
    cairo_restore(cairo);
  }
  if (!chart.footnote.empty()) show_text(cairo, chart.footnote, kGap, size.height - 10, 11, kGrey);
  cairo_restore(cairo);
}

std::string chart_svg(const Chart& chart) {
  const ChartSize size = size_of(chart);
  std::string bytes;
  const Surface surface(cairo_svg_surface_create_for_stream(append_bytes, &bytes, size.width, size.height));
  cairo_svg_surface_set_document_unit(surface.get(), CAIRO_SVG_UNIT_PX);
  draw_on(surface, chart, 1);
  cairo_surface_finish(surface.get());
  require(cairo_surface_status(surface.get()));
  return bytes;
}

std::string chart_png(const Chart& chart, double scale) {
  const ChartSize size = size_of(chart);
  const Surface surface(cairo_image_surface_create(CAIRO_FORMAT_RGB24,
                                                   static_cast<int>(std::ceil(size.width * scale)),
                                                   static_cast<int>(std::ceil(size.height * scale))));
  require(cairo_surface_status(surface.get()));
  draw_on(surface, chart, scale);
  std::string bytes;
  require(cairo_surface_write_to_png_stream(surface.get(), append_bytes, &bytes));
  return bytes;
}

}  // namespace ripplegauge
