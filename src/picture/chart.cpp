// Line charts, drawn with Cairo once, as SVG or pixels.
#include "picture/chart.hpp"

#include <cairo-svg.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include "drawing.hpp"

namespace ripplegauge {

using namespace picture_detail;

namespace {

constexpr double panel_width = 380, panel_height = 260, gap = 16, title_height = 34, foot_height = 22;
constexpr double left_margin = 52, right_margin = 14, top_margin = 44, bottom_margin = 44;

const TextStyle below_axis_style{11, palette::grey, Align::centre},
    axis_name_style{11, palette::ink, Align::centre}, panel_title_style{13, palette::ink, Align::left, true},
    remark_style{11, palette::grey};

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
        if (line.style == LineStyle::dashed) continue;
        include(y, point.low.value_or(point.y));
        include(y, point.high.value_or(point.y));
      }
    }
    if (panel.y_from) include(y, *panel.y_from);
    if (panel.y_to) include(y, *panel.y_to);
    if (x) x_ = *x;
    if (y) y_ = *y;
    if (!(y_.high > y_.low)) y_ = {y_.low - 0.5, y_.high + 0.5};
    if (panel.x_counts) x_ = {x_.low - 0.5, x_.high + 0.5};
    if (!(x_.high > x_.low)) x_ = {x_.low - 0.5, x_.high + 0.5};
    step_ = round_step(y_.high - y_.low, 5);
    y_ = {std::floor(y_.low / step_ + 1e-9) * step_, std::ceil(y_.high / step_ - 1e-9) * step_};
  }

  double x(double value) const {
    return left_margin + (value - x_.low) / (x_.high - x_.low) * (panel_width - left_margin - right_margin);
  }
  double y(double value) const {
    return panel_height - bottom_margin -
           (std::clamp(value, y_.low, y_.high) - y_.low) / (y_.high - y_.low) *
               (panel_height - top_margin - bottom_margin);
  }
  const Range& x_range() const { return x_; }
  const Range& y_range() const { return y_; }
  double y_step() const { return step_; }

 private:
  Range x_, y_;
  double step_ = 1;
};

/// A label for each photo or attempt, or for every second, third... where they would run into each other.
void label_counts(cairo_t* cairo, const ChartPanel& panel, const Axes& axes) {
  const int first = static_cast<int>(std::ceil(axes.x_range().low)),
            last = static_cast<int>(std::floor(axes.x_range().high));
  const int step = std::max(1, static_cast<int>(std::ceil((last - first + 1) / 12.0)));
  const double slot = axes.x(step) - axes.x(0) - 4;
  for (int value = first; value <= last; value += step) {
    const auto index = static_cast<std::size_t>(value - 1);
    const std::string name =
        value >= 1 && index < panel.x_names.size() ? panel.x_names[index] : std::to_string(value);
    show_text(cairo, fitted(name, below_axis_style, slot), axes.x(value), panel_height - bottom_margin + 16,
              below_axis_style);
  }
}

void label_lengths(cairo_t* cairo, const Axes& axes, const Wording& words) {
  const double step = round_step(axes.x_range().high - axes.x_range().low, 6);
  for (double value = std::ceil(axes.x_range().low / step - 1e-9) * step;
       value <= axes.x_range().high + step / 1e6; value += step)
    show_text(cairo, words.with_decimal_mark(tick_text(value, step)), axes.x(value),
              panel_height - bottom_margin + 16, below_axis_style);
}

void draw_axes(cairo_t* cairo, const ChartPanel& panel, const Axes& axes, const Wording& words) {
  cairo_set_line_width(cairo, 1);
  const int y_count =
      static_cast<int>(std::lround((axes.y_range().high - axes.y_range().low) / axes.y_step()));
  for (int i = 0; i <= y_count; ++i) {
    const double value = axes.y_range().low + i * axes.y_step();
    const bool zero = std::abs(value) < axes.y_step() / 1000;
    set_colour(cairo, zero ? palette::grey : palette::grid);
    cairo_move_to(cairo, left_margin, std::round(axes.y(value)) + 0.5);
    cairo_line_to(cairo, panel_width - right_margin, std::round(axes.y(value)) + 0.5);
    cairo_stroke(cairo);
    show_text(cairo, words.with_decimal_mark(tick_text(value, axes.y_step())), left_margin - 6,
              axes.y(value) + 4, {11, palette::grey, Align::right});
  }
  if (panel.x_counts)
    label_counts(cairo, panel, axes);
  else
    label_lengths(cairo, axes, words);
  show_text(cairo, panel.x_label, 0.5 * (left_margin + panel_width - right_margin), panel_height - 8,
            axis_name_style);
  cairo_save(cairo);
  cairo_translate(cairo, 12, 0.5 * (top_margin + panel_height - bottom_margin));
  cairo_rotate(cairo, -std::numbers::pi / 2);
  show_text(cairo, panel.y_label, 0, 0, axis_name_style);
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

/// Points that are NaN break the line.
void trace(cairo_t* cairo, const ChartLine& line, const Axes& axes) {
  bool drawing = false;
  for (const ChartPoint& point : line.points) {
    if (!std::isfinite(point.y)) {
      drawing = false;
      continue;
    }
    if (drawing)
      cairo_line_to(cairo, axes.x(point.x), axes.y(point.y));
    else
      cairo_move_to(cairo, axes.x(point.x), axes.y(point.y));
    drawing = true;
  }
  cairo_stroke(cairo);
}

void draw_interval(cairo_t* cairo, const ChartPoint& point, const Axes& axes) {
  if (!point.low || !point.high || !std::isfinite(*point.low) || !std::isfinite(*point.high)) return;
  cairo_set_line_width(cairo, 1.2);
  cairo_move_to(cairo, axes.x(point.x), axes.y(*point.low));
  cairo_line_to(cairo, axes.x(point.x), axes.y(*point.high));
  for (const double end : {*point.low, *point.high}) {
    cairo_move_to(cairo, axes.x(point.x) - 4, axes.y(end));
    cairo_line_to(cairo, axes.x(point.x) + 4, axes.y(end));
  }
  cairo_stroke(cairo);
}

void draw_line(cairo_t* cairo, const ChartLine& line, const Axes& axes, const Rgb& colour) {
  const bool dashed = line.style == LineStyle::dashed;
  set_colour(cairo, dashed ? palette::grey : colour);
  cairo_set_line_width(cairo, dashed ? 1.2 : 1.8);
  const double dashes[] = {5, 4};
  cairo_set_dash(cairo, dashes, dashed ? 2 : 0, 0);
  trace(cairo, line, axes);
  cairo_set_dash(cairo, dashes, 0, 0);
  if (line.style != LineStyle::dots) return;
  for (const ChartPoint& point : line.points) {
    if (!std::isfinite(point.y)) continue;
    draw_interval(cairo, point, axes);
    draw_marker(cairo, axes.x(point.x), axes.y(point.y), point.flagged);
  }
}

void draw_panel(cairo_t* cairo, const ChartPanel& panel, const Wording& words) {
  const double width = panel_width - left_margin - right_margin;
  show_text(cairo, fitted(panel.title, panel_title_style, width), left_margin, 14, panel_title_style);
  show_text(cairo, fitted(panel.note, remark_style, width), left_margin, 31, remark_style);

  const Axes axes(panel);
  draw_axes(cairo, panel, axes, words);
  std::size_t colour = 0;
  double legend_y = top_margin + 12;
  for (const ChartLine& line : panel.lines) {
    const Rgb& ink = palette::lines[line.style == LineStyle::dashed ? 0 : colour++ % palette::lines.size()];
    draw_line(cairo, line, axes, ink);
    if (line.label.empty()) continue;
    const TextStyle style{11, line.style == LineStyle::dashed ? palette::grey : ink};
    // At the left: what people work on rises to the right.
    show_text(cairo, fitted(line.label, style, width / 2), left_margin + 6, legend_y, style);
    legend_y += 14;
  }
}

void draw_chart(cairo_t* cairo, const Chart& chart) {
  const ChartSize size = size_of(chart);
  const int columns = std::clamp(chart.columns, 1, std::max(1, static_cast<int>(chart.panels.size())));
  cairo_save(cairo);
  show_text(cairo, chart.title, gap, 24, {16, palette::ink, Align::left, true});
  for (std::size_t i = 0; i < chart.panels.size(); ++i) {
    const int row = static_cast<int>(i) / columns, column = static_cast<int>(i) % columns;
    cairo_save(cairo);
    cairo_translate(cairo, gap + column * (panel_width + gap),
                    title_height + gap / 2 + row * (panel_height + gap));
    draw_panel(cairo, chart.panels[i], chart.words);
    cairo_restore(cairo);
  }
  if (!chart.footnote.empty()) show_text(cairo, chart.footnote, gap, size.height - 10, remark_style);
  cairo_restore(cairo);
}

void draw_on(cairo_t* cairo, const Chart& chart, double scale) {
  cairo_scale(cairo, scale, scale);
  set_colour(cairo, palette::paper);
  cairo_paint(cairo);
  draw_chart(cairo, chart);
}

}  // namespace

ChartSize size_of(const Chart& chart) {
  const int panels = std::max(1, static_cast<int>(chart.panels.size()));
  const int columns = std::clamp(chart.columns, 1, panels);
  const int rows = (panels + columns - 1) / columns;
  return {columns * (panel_width + gap) + gap,
          title_height + rows * (panel_height + gap) + gap + (chart.footnote.empty() ? 0 : foot_height)};
}

std::string chart_svg(const Chart& chart) {
  const ChartSize size = size_of(chart);
  std::string bytes;
  const Surface surface(cairo_svg_surface_create_for_stream(append_bytes, &bytes, size.width, size.height));
  cairo_svg_surface_set_document_unit(surface.get(), CAIRO_SVG_UNIT_PX);
  {
    const Context cairo(cairo_create(surface.get()));
    draw_on(cairo.get(), chart, 1);
    require(cairo_status(cairo.get()));
  }
  cairo_surface_finish(surface.get());
  require(cairo_surface_status(surface.get()));
  return bytes;
}

std::string chart_pdf(const Chart& chart) {
  constexpr double points_per_px = 0.75;  // 72 points and 96 px an inch
  const ChartSize size = size_of(chart);
  PdfFile file(points_per_px * size.width, points_per_px * size.height, {});
  draw_on(file.cairo(), chart, points_per_px);
  file.end_page();
  return file.finish();
}

cv::Mat chart_bgr(const Chart& chart, double scale) {
  const ChartSize size = size_of(chart);
  const PixelCanvas canvas(static_cast<int>(std::ceil(size.width * scale)),
                           static_cast<int>(std::ceil(size.height * scale)), palette::paper);
  cairo_scale(canvas.cairo(), scale, scale);
  draw_chart(canvas.cairo(), chart);
  return canvas.picture().bgr;
}

}  // namespace ripplegauge
