// The height of a spot along a line through its deepest point, with axes in millimetres.
#include "section_plot.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

#include "core/crease.hpp"
#include "words/text.hpp"

namespace ripplegauge::picture_detail {
namespace {

struct Range {
  double from = 0, to = 0;
  double span() const { return to - from; }
  void include(double value) {
    from = std::min(from, value);
    to = std::max(to, value);
  }
};

std::vector<ProfilePoint> finite_points(const Dent& dent) {
  std::vector<ProfilePoint> points;
  const std::vector<ProfilePoint>& section = drawn_section(dent);
  std::copy_if(section.begin(), section.end(), std::back_inserter(points),
               [](const ProfilePoint& p) { return std::isfinite(p.along_mm) && std::isfinite(p.height_mm); });
  return points;
}

class SectionPlot {
 public:
  SectionPlot(PixelCanvas& canvas, const cv::Rect2d& area, const Dent& dent, const SectionScale& scale,
              const Wording& words, double size)
      : canvas_(canvas),
        words_(words),
        cairo_(canvas.cairo()),
        points_(finite_points(dent)),
        kind_(dent.kind),
        has_scale_(dent.depth_mm.has_value()),
        size_(size) {
    if (!is_drawable()) return;
    along_ = {-scale.half_width_mm, scale.half_width_mm};
    height_ = {scale.lowest_mm, scale.highest_mm};
    // where the depth is not known, only the shape means something
    if (!has_scale_) {
      height_ = {};
      for (const ProfilePoint& p : points_) height_.include(p.height_mm);
    }
    const double air = 0.08 * height_.span();
    height_ = {height_.from - air, height_.to + air};
    // Room for the numbers: left of the frame and below it; the unit of the heights stands above.
    frame_ = {area.x + 3.4 * size, area.y + 1.5 * size, area.width - 3.9 * size, area.height - 3.1 * size};
  }

  bool is_drawable() const {
    const auto [low, high] = std::minmax_element(
        points_.begin(), points_.end(), [](const auto& a, const auto& b) { return a.along_mm < b.along_mm; });
    const bool flat =
        std::all_of(points_.begin(), points_.end(), [](const auto& p) { return p.height_mm == 0; });
    return points_.size() > 1 && high->along_mm > low->along_mm && !flat;
  }

  void draw() {
    canvas_.rectangle(frame_, palette::paper);
    if (has_scale_)
      draw_height_ticks();
    else
      draw_zero_line();
    draw_along_ticks();
    draw_curve();
    if (has_scale_)
      draw_exaggeration();
    else
      canvas_.text(words_("picture.shape_only"), frame_.x + frame_.width, frame_.y - 0.6 * size_,
                   style(Align::right));
  }

 private:
  double x(double along_mm) const {
    return frame_.x + (along_mm - along_.from) / along_.span() * frame_.width;
  }
  double y(double height_mm) const {
    return frame_.y + (height_.to - height_mm) / height_.span() * frame_.height;
  }
  TextStyle style(Align align) const { return {size_, palette::grey, align, false}; }

  void line(double x0, double y0, double x1, double y1, const Rgb& colour) {
    set_colour(cairo_, colour);
    cairo_set_line_width(cairo_, std::max(1.0, 0.06 * size_));
    cairo_move_to(cairo_, x0, y0);
    cairo_line_to(cairo_, x1, y1);
    cairo_stroke(cairo_);
  }

  void draw_height_ticks() {
    constexpr double least_mm = 0.1;
    const AxisUnit unit = height_unit(std::max(-height_.from, height_.to), least_mm, words_);
    const int count = std::clamp(static_cast<int>(frame_.height / (1.8 * size_)), 2, 5);
    double step = round_step(height_.span() * unit.per_mm, count);
    const double farthest = std::max(-height_.from, height_.to) * unit.per_mm;
    for (int finer = 2; step > farthest; ++finer)
      step = round_step(farthest, finer);  // zero alone is no scale
    for (double i = std::ceil(height_.from * unit.per_mm / step); i * step <= height_.to * unit.per_mm; ++i) {
      const double at = y(i * step / unit.per_mm);
      line(frame_.x, at, frame_.x + frame_.width, at, i == 0 ? palette::grey : palette::grid);
      canvas_.text(tick(i * step, step), frame_.x - 0.4 * size_, at + 0.35 * size_, style(Align::right));
    }
    canvas_.text(unit.name, frame_.x - 0.4 * size_, frame_.y - 0.6 * size_, style(Align::right));
  }

  /// Where the depth is not known, heights are good for the shape, not for numbers.
  void draw_zero_line() { line(frame_.x, y(0), frame_.x + frame_.width, y(0), palette::grey); }

  void draw_along_ticks() {
    const double bottom = frame_.y + frame_.height;
    line(frame_.x, bottom, frame_.x + frame_.width, bottom, palette::grid);
    const double room_for_one = text_width("-0.5 mm", style(Align::centre));
    const int count = std::clamp(static_cast<int>(frame_.width / room_for_one), 3, 8);
    const AxisUnit unit = length_unit(words_.units());
    double step = round_step(along_.span() * unit.per_mm, count);
    constexpr int surely_enough = 5;  // a step is at most 2.5 times its share of the axis
    for (int more = count + 1; more <= surely_enough && step > along_.to * unit.per_mm; ++more)
      step = round_step(along_.span() * unit.per_mm, more);  // zero alone is no scale
    const double step_mm = step / unit.per_mm;
    for (double i = std::ceil(along_.from / step_mm); i * step_mm <= along_.to; ++i) {
      const double at = x(i * step_mm);
      line(at, bottom, at, bottom + 0.35 * size_, palette::grey);
      canvas_.text(tick(i * step, step) + (i == 0 ? std::string(" ") + unit.name : ""), at,
                   bottom + 1.35 * size_, style(Align::centre));
    }
  }

  void draw_curve() {
    cairo_new_path(cairo_);
    for (const ProfilePoint& p : points_) cairo_line_to(cairo_, x(p.along_mm), y(p.height_mm));
    cairo_path_t* curve = cairo_copy_path(cairo_);
    cairo_line_to(cairo_, x(points_.back().along_mm), y(0));
    cairo_line_to(cairo_, x(points_.front().along_mm), y(0));
    cairo_close_path(cairo_);
    set_colour(cairo_, colour_of(kind_), 0.2);
    cairo_fill(cairo_);
    cairo_append_path(cairo_, curve);
    cairo_path_destroy(curve);
    set_colour(cairo_, colour_of(kind_));
    cairo_set_line_width(cairo_, std::max(1.5, 0.14 * size_));
    cairo_stroke(cairo_);
  }

  /// Heights are far smaller than widths: the picture would mislead without a word on it.
  void draw_exaggeration() {
    const double times = (frame_.height / height_.span()) / (frame_.width / along_.span());
    if (times < 2) return;
    const double rounded = times < 20 ? times : std::round(times / 5) * 5;
    canvas_.text(words_("picture.exaggeration", {{"times", figure(rounded, 0)}}), frame_.x + frame_.width,
                 frame_.y - 0.6 * size_, style(Align::right));
  }

  std::string tick(double value, double step) const {
    return words_.with_decimal_mark(tick_text(value, step));
  }

  PixelCanvas& canvas_;
  const Wording& words_;
  cairo_t* cairo_;
  std::vector<ProfilePoint> points_;
  Kind kind_;
  bool has_scale_;
  double size_;
  Range along_, height_;
  cv::Rect2d frame_;
};

}  // namespace

const std::vector<ProfilePoint>& drawn_section(const Dent& dent) {
  return is_crease(dent) && !dent.cross_section.empty() ? dent.cross_section : dent.section;
}

SectionScale scale_of(const std::vector<Dent>& dents) {
  SectionScale scale;
  for (const Dent& dent : dents)
    for (const ProfilePoint& p : drawn_section(dent)) {
      if (!std::isfinite(p.along_mm) || !std::isfinite(p.height_mm)) continue;
      scale.half_width_mm = std::max(scale.half_width_mm, std::abs(p.along_mm));
      if (!dent.depth_mm) continue;
      scale.lowest_mm = std::min(scale.lowest_mm, p.height_mm);
      scale.highest_mm = std::max(scale.highest_mm, p.height_mm);
    }
  return scale;
}

void draw_section(PixelCanvas& canvas, const cv::Rect2d& area, const Dent& dent, const SectionScale& scale,
                  const Wording& words, double text_size) {
  SectionPlot plot(canvas, area, dent, scale, words, text_size);
  if (plot.is_drawable()) plot.draw();
}

}  // namespace ripplegauge::picture_detail
