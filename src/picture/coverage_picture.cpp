// The frame in fields, shaded by the corners that a calibration saw in each.
#include "picture/coverage_picture.hpp"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "drawing.hpp"

namespace ripplegauge {

using namespace picture_detail;

namespace {

constexpr double margin = 40, title_height = 96, legend_height = 110, longer_side = 1200;

/// From the stored picture to the drawing: turned upright, scaled, placed.
struct Frame {
  cv::Size stored;
  int orientation = 1;
  double scale = 1;

  cv::Size upright() const {
    return swaps_sides(orientation) ? cv::Size(stored.height, stored.width) : stored;
  }
  cv::Point2d operator()(const cv::Point2d& pixel) const {
    const cv::Point2d p = upright_from_stored(pixel, orientation, stored);
    return {margin + scale * (p.x + 0.5), title_height + scale * (p.y + 0.5)};
  }
};

/// White: nothing seen. Darker blue: more corners; a card a field is as good as it needs to be.
Rgb shade(int corners, int most) {
  if (corners == 0) return palette::paper;
  const double share = 0.15 + 0.55 * std::min(1.0, static_cast<double>(corners) / most);
  const auto mix = [&](double ink, double paper) { return paper + share * (ink - paper); };
  return {mix(palette::low.red, 1), mix(palette::low.green, 1), mix(palette::low.blue, 1)};
}

cv::Rect2d box_between(const cv::Point2d& a, const cv::Point2d& b) {
  return {std::min(a.x, b.x), std::min(a.y, b.y), std::abs(a.x - b.x), std::abs(a.y - b.y)};
}

void draw_fields(PixelCanvas& canvas, const Frame& frame, const Coverage& coverage, int most) {
  for (int row = 0; row < Coverage::rows; ++row)
    for (int column = 0; column < Coverage::columns; ++column) {
      const auto corner = [&](int c, int r) {
        return frame(cv::Point2d(static_cast<double>(c) / Coverage::columns * frame.stored.width - 0.5,
                                 static_cast<double>(r) / Coverage::rows * frame.stored.height - 0.5));
      };
      const int place = row * Coverage::columns + column,
                n = coverage.corners[static_cast<std::size_t>(place)];
      const cv::Rect2d box = box_between(corner(column, row), corner(column + 1, row + 1));
      canvas.rectangle(box, shade(n, most));
      if (n == 0)
        canvas.text("none", box.x + 0.5 * box.width, box.y + 0.5 * box.height + 8,
                    {.size = 22, .colour = palette::warning, .align = Align::centre});
    }
}

void draw_outlines(PixelCanvas& canvas, const Frame& frame, const CameraCalibration& calibration,
                   const std::vector<CameraShot>& shots) {
  cairo_t* cairo = canvas.cairo();
  cairo_set_line_width(cairo, 2);
  set_colour(cairo, palette::high, 0.8);
  for (const CalibratedPhoto& photo : calibration.photos) {
    std::vector<cv::Point2f> points, hull;
    for (const cv::Point2d& p : shots[photo.shot].view.pixels) points.emplace_back(frame(p));
    cv::convexHull(points, hull);
    for (const cv::Point2f& p : hull) cairo_line_to(cairo, p.x, p.y);
    cairo_close_path(cairo);
    cairo_stroke(cairo);
  }
  set_colour(cairo, palette::ink, 0.9);
  for (const CalibratedPhoto& photo : calibration.photos)
    for (const cv::Point2d& pixel : shots[photo.shot].view.pixels) {
      const cv::Point2d p = frame(pixel);
      cairo_arc(cairo, p.x, p.y, 2, 0, 2 * CV_PI);
      cairo_fill(cairo);
    }
}

void draw_legend(PixelCanvas& canvas, double top, const Coverage& coverage, int most) {
  double x = margin;
  const auto swatch = [&](const Rgb& colour, const std::string& words) {
    canvas.rectangle({x, top, 34, 26}, palette::grey);
    canvas.rectangle({x + 1, top + 1, 32, 24}, colour);
    canvas.text(words, x + 44, top + 21, {.size = 22});
    x += 70 + text_width(words, {.size = 22});
  };
  swatch(palette::paper, "no corner");
  swatch(shade(1, most), "1");
  swatch(shade(most, most), std::to_string(most) + " or more corners in a field");
  canvas.text("Orange: the target in each photo. Dots: its corners.", margin, top + 64,
              {.size = 22, .colour = palette::grey});
  canvas.text(std::to_string(coverage.fields_seen()) + " of " +
                  std::to_string(Coverage::columns * Coverage::rows) + " fields had evidence.",
              margin, top + 94, {.size = 22, .colour = palette::grey});
}

}  // namespace

Picture coverage_picture(const CalibrationTarget& target, const CameraCalibration& calibration,
                         const std::vector<CameraShot>& shots, const Coverage& coverage) {
  Frame frame{calibration.stored_size, usual_orientation(calibration, shots), 1};
  const cv::Size upright = frame.upright();
  frame.scale = longer_side / std::max(upright.width, upright.height);
  const double width = frame.scale * upright.width, height = frame.scale * upright.height;
  constexpr double narrowest = 760;  // for the words
  PixelCanvas canvas(static_cast<int>(std::lround(std::max(width + 2 * margin, narrowest))),
                     static_cast<int>(std::lround(title_height + height + margin + legend_height)),
                     palette::paper);
  canvas.text("Where the lens was seen", margin, 46, {.size = 32, .bold = true});
  const std::string what = std::to_string(calibration.photos.size()) + " photos of the " + target.name;
  canvas.text(fitted(what, {.size = 22}, canvas.width() - 2 * margin), margin, 80,
              {.size = 22, .colour = palette::grey});
  constexpr int plenty = 32;  // a whole corner card
  draw_fields(canvas, frame, coverage, plenty);
  cairo_save(canvas.cairo());
  cairo_rectangle(canvas.cairo(), margin, title_height, width, height);
  cairo_clip(canvas.cairo());
  draw_outlines(canvas, frame, calibration, shots);
  cairo_restore(canvas.cairo());
  cairo_set_line_width(canvas.cairo(), 2);
  set_colour(canvas.cairo(), palette::ink);
  cairo_rectangle(canvas.cairo(), margin, title_height, width, height);
  cairo_stroke(canvas.cairo());
  draw_legend(canvas, title_height + height + 24, coverage, plenty);
  return canvas.picture();
}

}  // namespace ripplegauge
