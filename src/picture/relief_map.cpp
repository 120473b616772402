// The height map in colours, with contour lines, a scale and the spots' numbers, cut to the spots with panel
// round them.
#include "picture/relief_map.hpp"

#include <algorithm>
#include <cmath>

#include "contours.hpp"
#include "drawing.hpp"
#include "spots.hpp"

namespace ripplegauge {

using namespace picture_detail;

namespace {

/// Rows and columns of the relief.
struct Window {
  int first_row = 0, last_row = -1, first_column = 0, last_column = -1;
  bool empty() const { return last_row <= first_row || last_column <= first_column; }
};

Window measured_window(const Relief& relief) {
  Window window{relief.rows, -1, relief.columns, -1};
  for (int row = 0; row < relief.rows; ++row)
    for (int column = 0; column < relief.columns; ++column) {
      if (!std::isfinite(relief.at(row, column))) continue;
      window.first_row = std::min(window.first_row, row);
      window.last_row = std::max(window.last_row, row);
      window.first_column = std::min(window.first_column, column);
      window.last_column = std::max(window.last_column, column);
    }
  return window;
}

/// The spots with panel around them, so that a small one on a large map can be seen.
std::optional<RectangleMm> window_of_outlines(const std::vector<Dent>& dents) {
  constexpr double share_around = 0.6, least_around_mm = 5;
  RectangleMm box{1e9, 1e9, -1e9, -1e9};
  for (const Dent& dent : dents)
    for (const PointMm& p : dent.outline) {
      if (!std::isfinite(p.x_mm) || !std::isfinite(p.y_mm)) continue;
      const double around =
          std::max(least_around_mm,
                   share_around * (std::isfinite(dent.diameter_mm.value) ? dent.diameter_mm.value : 0));
      box = {std::min(box.x0_mm, p.x_mm - around), std::min(box.y0_mm, p.y_mm - around),
             std::max(box.x1_mm, p.x_mm + around), std::max(box.y1_mm, p.y_mm + around)};
    }
  if (box.x1_mm < box.x0_mm) return std::nullopt;
  return box;
}

Window clipped(const Window& measured, const Relief& relief, const RectangleMm& box) {
  const auto inside = [](double value, int low, int high) {
    return static_cast<int>(std::clamp<double>(value, low, high));
  };
  const auto row = [&](double y_mm) {
    return inside((y_mm - relief.y0_mm) / relief.step_mm, measured.first_row, measured.last_row);
  };
  const auto column = [&](double x_mm) {
    return inside((x_mm - relief.x0_mm) / relief.step_mm, measured.first_column, measured.last_column);
  };
  const Window window{row(box.y0_mm), row(box.y1_mm), column(box.x0_mm), column(box.x1_mm)};
  return window.empty() ? measured : window;
}

Window window_of(const Relief& relief, const std::vector<Dent>& dents, const ReliefMapOptions& options) {
  const Window measured = measured_window(relief);
  const std::optional<RectangleMm> wanted = options.window ? options.window : window_of_outlines(dents);
  return wanted ? clipped(measured, relief, *wanted) : measured;
}

double largest_height_mm(const Relief& relief) {
  double largest = 0;
  for (const float height : relief.height_mm)
    if (std::isfinite(height)) largest = std::max(largest, std::abs(static_cast<double>(height)));
  return largest;
}

/// Between four grid points; NaN next to what was not measured.
double height_at(const Relief& relief, double row, double column) {
  const int r = std::clamp(static_cast<int>(row), 0, relief.rows - 2);
  const int c = std::clamp(static_cast<int>(column), 0, relief.columns - 2);
  const double v = row - r, u = column - c;
  return (1 - v) * ((1 - u) * relief.at(r, c) + u * relief.at(r, c + 1)) +
         v * ((1 - u) * relief.at(r + 1, c) + u * relief.at(r + 1, c + 1));
}

cv::Vec3b bgr(const Rgb& colour) {
  const auto byte = [](double value) { return static_cast<std::uint8_t>(std::lround(255 * value)); };
  return {byte(colour.blue), byte(colour.green), byte(colour.red)};
}

class ReliefMap {
 public:
  ReliefMap(const Relief& relief, const std::vector<Dent>& dents, const ReliefMapOptions& options)
      : relief_(relief),
        dents_(dents),
        words_(options.words),
        title_(options.title),
        card_(options.card_paper),
        window_(window_of(relief, dents, options)),
        range_mm_(options.range_mm.value_or(largest_height_mm(relief))),
        px_per_step_(options.map_side_px /
                     std::max({1.0, static_cast<double>(window_.last_row - window_.first_row),
                               static_cast<double>(window_.last_column - window_.first_column)})),
        size_(options.map_side_px / 34.0),
        canvas_(
            static_cast<int>(std::ceil(map().br().x + 10.5 * size_)),
            static_cast<int>(std::ceil(std::max(map().br().y + 4.6 * size_, colour_bar().br().y + 2 * size_) +
                                       (card_.empty() ? 0 : plan_height() + size_))),
            palette::paper) {
    if (!(range_mm_ > 0)) range_mm_ = 1e-3;  // a flat panel: a micrometre either way is still white
  }

  Picture draw() {
    canvas_.text(fitted(title_, title_style(), canvas_.width() - 2 * size_), size_, 1.7 * size_,
                 title_style());
    draw_heights();
    draw_contours();
    draw_axes();
    draw_spots(canvas_, spots(), map(), {}, size_);
    draw_colour_bar();
    if (!card_.empty()) draw_plan();
    return canvas_.picture();
  }

 private:
  TextStyle title_style() const { return {1.2 * size_, palette::ink, Align::left, true}; }
  TextStyle tick_style(Align align) const { return {0.8 * size_, palette::grey, align, false}; }

  cv::Rect2d map() const {
    return {4.2 * size_, 3.0 * size_, (window_.last_column - window_.first_column) * px_per_step_,
            (window_.last_row - window_.first_row) * px_per_step_};
  }
  /// Row 0 is the smallest y, which belongs at the bottom.
  double x_of_column(double column) const { return map().x + (column - window_.first_column) * px_per_step_; }
  double y_of_row(double row) const { return map().y + (window_.last_row - row) * px_per_step_; }
  cv::Point2d on_canvas(const PointMm& p) const {
    return {x_of_column((p.x_mm - relief_.x0_mm) / relief_.step_mm),
            y_of_row((p.y_mm - relief_.y0_mm) / relief_.step_mm)};
  }

  void draw_heights() {
    const cv::Rect2d area = map();
    cv::Mat pixels(static_cast<int>(area.height), static_cast<int>(area.width), CV_8UC3);
    for (int y = 0; y < pixels.rows; ++y)
      for (int x = 0; x < pixels.cols; ++x) {
        const double height = height_at(relief_, window_.last_row - (y + 0.5) / px_per_step_,
                                        window_.first_column + (x + 0.5) / px_per_step_);
        pixels.at<cv::Vec3b>(y, x) =
            std::isfinite(height) ? bgr(height_colour(height / range_mm_)) : hatching(x, y);
      }
    canvas_.paste(pixels, static_cast<int>(area.x), static_cast<int>(area.y));
  }

  /// Not measured is neither low nor high nor flat.
  cv::Vec3b hatching(int x, int y) const {
    const int period = std::max(4, static_cast<int>(0.5 * size_));
    return bgr((x + y) % period < period / 4 ? palette::grey : palette::grid);
  }

  void draw_contours() {
    cairo_t* cairo = canvas_.cairo();
    const double step = contour_step_mm(), line_width = std::max(1.0, 0.05 * size_);
    cairo_save(cairo);
    cairo_rectangle(cairo, map().x, map().y, map().width, map().height);
    cairo_clip(cairo);
    set_colour(cairo, palette::ink, 0.55);
    cairo_set_line_width(cairo, line_width);
    for (const Kind kind : {Kind::low, Kind::high}) {
      set_dashes(cairo, kind, line_width);
      for (int i = 1; i * step <= range_mm_; ++i)
        for (const ContourLine& line : contour_lines(relief_, (kind == Kind::low ? -i : i) * step)) {
          for (const GridPoint& p : line) cairo_line_to(cairo, x_of_column(p.column), y_of_row(p.row));
          cairo_stroke(cairo);
        }
    }
    cairo_restore(cairo);
  }

  AxisUnit unit_of_heights() const {
    constexpr double least_mm = 1;
    return height_unit(range_mm_, least_mm, words_);
  }
  /// Round in the unit that is shown.
  double contour_step_mm() const {
    const double per_mm = unit_of_heights().per_mm;
    return round_step(range_mm_ * per_mm, 5) / per_mm;
  }

  void draw_axes() {
    cairo_t* cairo = canvas_.cairo();
    const cv::Rect2d area = map();
    set_colour(cairo, palette::grey);
    cairo_set_line_width(cairo, std::max(1.0, 0.06 * size_));
    cairo_rectangle(cairo, area.x, area.y, area.width, area.height);
    cairo_stroke(cairo);
    draw_ticks(relief_.x0_mm + window_.first_column * relief_.step_mm,
               relief_.x0_mm + window_.last_column * relief_.step_mm, area.width, 6,
               [&](double mm, const std::string& t) {
                 const double x = on_canvas({mm, 0}).x, y = area.y + area.height;
                 canvas_.rectangle({x - 0.04 * size_, y, 0.08 * size_, 0.35 * size_}, palette::grey);
                 canvas_.text(t, x, y + 1.3 * size_, tick_style(Align::centre));
               });
    draw_ticks(relief_.y0_mm + window_.first_row * relief_.step_mm,
               relief_.y0_mm + window_.last_row * relief_.step_mm, area.height, 3,
               [&](double mm, const std::string& t) {
                 const double y = on_canvas({0, mm}).y;
                 canvas_.rectangle({area.x - 0.35 * size_, y - 0.04 * size_, 0.35 * size_, 0.08 * size_},
                                   palette::grey);
                 canvas_.text(t, area.x - 0.6 * size_, y + 0.28 * size_, tick_style(Align::right));
               });
    const AxisUnit unit = unit_of_heights();
    canvas_.text(words_(words_.units().inches ? "picture.card_axes_inches" : "picture.card_axes"), area.x,
                 area.y + area.height + 2.7 * size_, tick_style(Align::left));
    const double step = contour_step_mm() * unit.per_mm;
    canvas_.text(words_("picture.contours",
                        {{"step", words_.with_decimal_mark(tick_text(step, step)) + " " + unit.name}}),
                 area.x, area.y + area.height + 3.9 * size_, tick_style(Align::left));
  }

  template <typename Draw>
  void draw_ticks(double from_mm, double to_mm, double length_px, double room, const Draw& draw_one) {
    const int count = static_cast<int>(length_px / (room * size_));
    if (count == 0) return;
    const AxisUnit unit = length_unit(words_.units());
    const double step = round_step((to_mm - from_mm) * unit.per_mm, count), step_mm = step / unit.per_mm;
    for (double i = std::ceil(from_mm / step_mm); i * step_mm <= to_mm; ++i)
      draw_one(i * step_mm, words_.with_decimal_mark(tick_text(i * step, step)));
  }

  std::vector<Spot> spots() const {
    std::vector<Spot> spots;
    for (std::size_t i = 0; i < dents_.size(); ++i) {
      Spot spot;
      spot.number = static_cast<int>(i + 1);
      spot.kind = dents_[i].kind;
      if (const auto& deepest = dents_[i].deepest; deepest && std::isfinite(deepest->x_mm + deepest->y_mm))
        spot.crosses.push_back(on_canvas(*deepest));
      if (dents_.size() <= 6) {
        spot.first_line = size_in_short(dents_[i], words_);
        if (dents_[i].depth_mm) spot.second_line = kind_and_depth(dents_[i], words_);
      }
      for (const PointMm& p : dents_[i].outline)
        if (std::isfinite(p.x_mm) && std::isfinite(p.y_mm)) spot.outline.push_back(on_canvas(p));
      spots.push_back(spot);
    }
    return spots;
  }

  /// On whole pixels, since its colours are pasted.
  cv::Rect2d colour_bar() const {
    return {std::round(map().br().x + 1.4 * size_), std::round(map().y + 1.6 * size_),
            std::round(1.8 * size_),
            std::round(std::clamp(map().height - 3.2 * size_, 9 * size_, 22 * size_))};
  }

  void draw_colour_bar() {
    const cv::Rect2d bar = colour_bar();
    cv::Mat ramp(static_cast<int>(bar.height), static_cast<int>(bar.width), CV_8UC3);
    for (int y = 0; y < ramp.rows; ++y) ramp.row(y).setTo(bgr(height_colour(1 - 2 * (y + 0.5) / ramp.rows)));
    canvas_.paste(ramp, static_cast<int>(bar.x), static_cast<int>(bar.y));
    set_colour(canvas_.cairo(), palette::grey);
    cairo_rectangle(canvas_.cairo(), bar.x, bar.y, bar.width, bar.height);
    cairo_stroke(canvas_.cairo());

    const AxisUnit unit = unit_of_heights();
    const double step = contour_step_mm() * unit.per_mm, range = range_mm_ * unit.per_mm;
    for (double i = -std::floor(range / step); i * step <= range; ++i) {
      const double y = bar.y + bar.height * 0.5 * (1 - i * step / range);
      canvas_.rectangle({bar.x + bar.width, y - 0.04 * size_, 0.35 * size_, 0.08 * size_}, palette::grey);
      canvas_.text(
          words_.with_decimal_mark(tick_text(i * step, step)) + (i == 0 ? std::string(" ") + unit.name : ""),
          bar.x + bar.width + 0.6 * size_, y + 0.28 * size_, tick_style(Align::left));
    }
    canvas_.text(words_("picture.high"), bar.x, bar.y - 0.5 * size_,
                 {0.9 * size_, palette::high, Align::left, true});
    canvas_.text(words_("picture.low"), bar.x, bar.y + bar.height + 1.1 * size_,
                 {0.9 * size_, palette::low, Align::left, true});
  }

  double plan_height() const { return 9 * size_; }

  RectangleMm window_mm() const {
    return {relief_.x0_mm + window_.first_column * relief_.step_mm,
            relief_.y0_mm + window_.first_row * relief_.step_mm,
            relief_.x0_mm + window_.last_column * relief_.step_mm,
            relief_.y0_mm + window_.last_row * relief_.step_mm};
  }

  /// The card, the map's part of the panel beside it, and the spots, small.
  void draw_plan() {
    const RectangleMm window = window_mm();
    RectangleMm all = window;
    for (const RectangleMm& paper : card_)
      all = {std::min(all.x0_mm, paper.x0_mm), std::min(all.y0_mm, paper.y0_mm),
             std::max(all.x1_mm, paper.x1_mm), std::max(all.y1_mm, paper.y1_mm)};
    const double px_per_mm = plan_height() / (all.y1_mm - all.y0_mm), left = map().x,
                 bottom = canvas_.height() - size_;
    const auto box = [&](const RectangleMm& r) {
      return cv::Rect2d(left + (r.x0_mm - all.x0_mm) * px_per_mm, bottom - (r.y1_mm - all.y0_mm) * px_per_mm,
                        (r.x1_mm - r.x0_mm) * px_per_mm, (r.y1_mm - r.y0_mm) * px_per_mm);
    };
    for (const RectangleMm& paper : card_) canvas_.rectangle(box(paper), palette::grid);
    cairo_t* cairo = canvas_.cairo();
    const cv::Rect2d shown = box(window);
    set_colour(cairo, palette::grey);
    cairo_set_line_width(cairo, 0.1 * size_);
    cairo_rectangle(cairo, shown.x, shown.y, shown.width, shown.height);
    cairo_stroke(cairo);
    for (const Dent& dent : dents_) {
      if (dent.outline.size() < 3) continue;
      for (const PointMm& p : dent.outline)
        cairo_line_to(cairo, left + (p.x_mm - all.x0_mm) * px_per_mm,
                      bottom - (p.y_mm - all.y0_mm) * px_per_mm);
      cairo_close_path(cairo);
      set_colour(cairo, dent.kind == Kind::low ? palette::low : palette::high);
      cairo_stroke(cairo);
    }
    canvas_.text("the card (grey), and the part above", left + (all.x1_mm - all.x0_mm) * px_per_mm + size_,
                 bottom, tick_style(Align::left));
  }

  const Relief& relief_;
  const std::vector<Dent>& dents_;
  Wording words_;
  std::string title_;
  std::vector<RectangleMm> card_;
  Window window_;
  double range_mm_, px_per_step_, size_;
  PixelCanvas canvas_;
};

Picture nothing_measured(const ReliefMapOptions& options) {
  const double size = options.map_side_px / 34.0;
  PixelCanvas canvas(options.map_side_px, static_cast<int>(6 * size), palette::paper);
  canvas.text(options.title, size, 1.7 * size, {1.2 * size, palette::ink, Align::left, true});
  canvas.text(options.words("picture.no_relief"), size, 4 * size, {size, palette::ink, Align::left, false});
  return canvas.picture();
}

}  // namespace

Picture relief_map(const Relief& relief, const std::vector<Dent>& dents, const ReliefMapOptions& options) {
  if (measured_window(relief).empty() || !(relief.step_mm > 0)) return nothing_measured(options);
  return ReliefMap(relief, dents, options).draw();
}

}  // namespace ripplegauge
