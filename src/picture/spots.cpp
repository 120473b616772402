// Outlines, crosses and labels of spots on a photo.
#include "spots.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "label_layout.hpp"

namespace ripplegauge::picture_detail {
namespace {

// In text sizes.
constexpr double padding = 0.35, badge_width = 2.3, line_height = 1.25, second_line_size = 0.85;
constexpr double outline_width = 0.11, casing_width = 0.27;  // the light casing shows on dark paint

TextStyle first_style(double size) { return {size, palette::ink, Align::left, true}; }
TextStyle second_style(double size) { return {second_line_size * size, palette::ink, Align::left, false}; }

cv::Size2d label_size(const Spot& spot, double size) {
  const double text = std::max(text_width(spot.first_line, first_style(size)),
                               text_width(spot.second_line, second_style(size)));
  const double gap_after_text = text > 0 ? 0.3 * size : 0;
  const int lines = 1 + !spot.second_line.empty();
  return {badge_width * size + text + gap_after_text, (2 * padding + line_height * lines) * size};
}

/// More would hide the photo; the outlines are drawn all the same.
constexpr std::size_t most_labels = 40;

enum class Line { of_kind, solid };

/// The path twice: a light casing, then the colour of the kind.
void stroke(PixelCanvas& canvas, Kind kind, Line line, double size) {
  cairo_t* cairo = canvas.cairo();
  cairo_set_line_join(cairo, CAIRO_LINE_JOIN_ROUND);
  set_colour(cairo, palette::paper, 0.85);
  cairo_set_line_width(cairo, casing_width * size);
  cairo_stroke_preserve(cairo);
  set_colour(cairo, colour_of(kind));
  cairo_set_line_width(cairo, outline_width * size);
  if (line == Line::of_kind) set_dashes(cairo, kind, outline_width * size);
  cairo_stroke(cairo);
  set_dashes(cairo, Kind::low, 1);
}

/// Cairo counts in 24-bit pixels; an outline from a file can say anything.
cv::Point2d drawable(const cv::Point2d& p) {
  constexpr double far_away = 1e5;
  return {std::clamp(p.x, -far_away, far_away), std::clamp(p.y, -far_away, far_away)};
}

void draw_outline(PixelCanvas& canvas, const Spot& spot, double size) {
  cairo_new_path(canvas.cairo());
  for (const cv::Point2d& point : spot.outline) {
    const cv::Point2d p = drawable(point);
    cairo_line_to(canvas.cairo(), p.x, p.y);
  }
  cairo_close_path(canvas.cairo());
  stroke(canvas, spot.kind, Line::of_kind, size);
}

/// Where the tab is glued, or the tip set.
void draw_crosses(PixelCanvas& canvas, const Spot& spot, double size) {
  const double arm = 0.45 * size;
  for (const cv::Point2d& cross : spot.crosses) {
    const cv::Point2d at = drawable(cross);
    cairo_new_path(canvas.cairo());
    for (const auto& [dx, dy] : {std::pair(arm, 0.0), std::pair(0.0, arm)}) {
      cairo_move_to(canvas.cairo(), at.x - dx, at.y - dy);
      cairo_line_to(canvas.cairo(), at.x + dx, at.y + dy);
    }
    stroke(canvas, spot.kind, Line::solid, size);
  }
}

void draw_label(PixelCanvas& canvas, const Spot& spot, const PlacedLabel& label, double size) {
  cairo_t* cairo = canvas.cairo();
  const cv::Rect2d& box = label.box;
  canvas.rectangle(box, palette::paper, 0.94);
  cairo_rectangle(cairo, box.x, box.y, box.width, box.height);
  set_colour(cairo, colour_of(spot.kind));
  cairo_set_line_width(cairo, outline_width * size);
  set_dashes(cairo, spot.kind, outline_width * size);
  cairo_stroke(cairo);
  set_dashes(cairo, Kind::low, 1);
  draw_badge(canvas, spot.number, spot.kind, box.x + 0.5 * badge_width * size, box.y + 0.5 * box.height,
             size);
  const double x = box.x + badge_width * size;
  const double baseline = box.y + (padding + 0.95) * size;
  canvas.text(spot.first_line, x, baseline, first_style(size));
  canvas.text(spot.second_line, x, baseline + line_height * size, second_style(size));
}

void draw_number_in_spot(PixelCanvas& canvas, const Spot& spot, double size) {
  cv::Point2d sum;
  for (const cv::Point2d& p : spot.outline) sum += drawable(p);
  const cv::Point2d middle = sum / static_cast<double>(spot.outline.size());
  draw_badge(canvas, spot.number, spot.kind, middle.x, middle.y, size);
}

/// Enough points to find the one nearest to a label.
std::vector<cv::Point2d> thinned(const std::vector<cv::Point2d>& outline) {
  constexpr std::size_t enough = 120;
  const std::size_t every = outline.size() / enough + 1;
  std::vector<cv::Point2d> points;
  for (std::size_t i = 0; i < outline.size(); i += every) points.push_back(drawable(outline[i]));
  return points;
}

bool reaches_into(const Spot& spot, const cv::Rect2d& area) {
  return std::any_of(spot.outline.begin(), spot.outline.end(),
                     [&](const cv::Point2d& p) { return area.contains(p); });
}

}  // namespace

void draw_spots(PixelCanvas& canvas, const std::vector<Spot>& spots, const cv::Rect2d& area,
                const std::vector<cv::Rect2d>& taken, double text_size) {
  cairo_save(canvas.cairo());
  cairo_rectangle(canvas.cairo(), area.x, area.y, area.width, area.height);
  cairo_clip(canvas.cairo());
  std::vector<const Spot*> visible;
  std::vector<LabelWish> wishes;
  for (const Spot& spot : spots) {
    if (!reaches_into(spot, area)) continue;
    draw_outline(canvas, spot, text_size);
    draw_crosses(canvas, spot, text_size);
    if (visible.size() == most_labels) continue;
    visible.push_back(&spot);
    wishes.push_back({thinned(spot.outline), label_size(spot, text_size)});
  }
  const double margin = 0.4 * text_size;
  const cv::Rect2d inside(area.x + margin, area.y + margin, area.width - 2 * margin,
                          area.height - 2 * margin);
  const auto labels = place_labels(wishes, inside, taken, text_size);
  for (std::size_t i = 0; i < visible.size(); ++i) {
    if (!labels[i]) continue;
    cairo_move_to(canvas.cairo(), labels[i]->line_from.x, labels[i]->line_from.y);
    cairo_line_to(canvas.cairo(), labels[i]->line_to.x, labels[i]->line_to.y);
    stroke(canvas, visible[i]->kind, Line::solid, text_size);
  }
  for (std::size_t i = 0; i < visible.size(); ++i) {
    if (labels[i])
      draw_label(canvas, *visible[i], *labels[i], text_size);
    else
      draw_number_in_spot(canvas, *visible[i], text_size);
  }
  cairo_restore(canvas.cairo());
}

}  // namespace ripplegauge::picture_detail
