// The photo, cropped to what matters, with outlines, labels and crosses, and the rows below it.
#include "picture/annotate.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <opencv2/imgproc.hpp>
#include <stdexcept>

#include "core/crease.hpp"
#include "drawing.hpp"
#include "legend.hpp"
#include "spots.hpp"

namespace ripplegauge {

using namespace picture_detail;

namespace {

/// Narrower pictures would make the text below the photo too coarse; 1000 px are about what a phone shows.
constexpr int least_width_px = 1000;
/// Small photos are enlarged by whole factors, but not beyond this height.
constexpr int greatest_enlarged_height_px = 3000;

/// Text sizes a picture is wide: on a phone held upright, where the picture is about 70 mm wide, capitals are
/// then a good 1.3 mm high, and they grow with the first pinch.
constexpr double text_sizes_wide = 38;

cv::Mat enlarged(const cv::Mat& photo) {
  const int factor =
      std::min((least_width_px + photo.cols - 1) / photo.cols, greatest_enlarged_height_px / photo.rows);
  if (factor <= 1) return photo;
  cv::Mat large;
  cv::resize(photo, large, {}, factor, factor, cv::INTER_LINEAR);
  return large;
}

/// From pixels of the full-size photo (centres at whole numbers) to Cairo's coordinates (centres at halves).
struct View {
  double scale = 1;
  cv::Point2d offset;  ///< of the picture's corner, in pixels of the full-size photo

  cv::Point2d on_canvas(const std::pair<double, double>& px) const {
    return {(px.first + 0.5 - offset.x) * scale, (px.second + 0.5 - offset.y) * scale};
  }
};

/// Where points of the panel lie in the photo, from the outlines, which the reading holds both ways: as good
/// as an affine map is near the spots, which is where it is asked.
class PanelInPhoto {
 public:
  explicit PanelInPhoto(const Reading& reading) {
    cv::Matx33d normal = cv::Matx33d::zeros();
    cv::Matx<double, 3, 2> right = cv::Matx<double, 3, 2>::zeros();
    for (std::size_t i = 0; i < std::min(reading.dents.size(), reading.outlines_px.size()); ++i)
      add(reading.dents[i].outline, reading.outlines_px[i], normal, right);
    known_ = std::abs(cv::determinant(normal)) > 1e-6 && cv::checkRange(normal) && cv::checkRange(right);
    if (known_) map_ = normal.inv() * right;
    known_ = known_ && cv::checkRange(map_);
  }
  /// Of one spot only.
  PanelInPhoto(const std::vector<PointMm>& outline, const std::vector<std::pair<double, double>>& outline_px)
      : PanelInPhoto(one_spot(outline, outline_px)) {}

  bool known() const { return known_; }
  std::pair<double, double> pixel(PointMm p) const {
    const cv::Matx<double, 1, 2> px = cv::Matx13d(p.x_mm, p.y_mm, 1) * map_;
    return {px(0), px(1)};
  }

 private:
  static Reading one_spot(const std::vector<PointMm>& outline,
                          const std::vector<std::pair<double, double>>& outline_px) {
    Reading reading;
    reading.dents.resize(1);
    reading.dents[0].outline = outline;
    reading.outlines_px = {outline_px};
    return reading;
  }
  static void add(const std::vector<PointMm>& mm, const std::vector<std::pair<double, double>>& px,
                  cv::Matx33d& normal, cv::Matx<double, 3, 2>& right) {
    if (mm.size() != px.size()) return;
    for (std::size_t k = 0; k < mm.size(); ++k) {
      const cv::Matx31d row(mm[k].x_mm, mm[k].y_mm, 1);
      normal += row * row.t();
      right += row * cv::Matx12d(px[k].first, px[k].second);
    }
  }

  cv::Matx<double, 3, 2> map_;
  bool known_ = false;
};

/// The part of the photo with card and spots, in its full-size pixels: the whole photo where that is not
/// known or not much less.
cv::Rect2d part_that_matters(const Reading& reading, const cv::Size2d& photo) {
  const cv::Rect2d whole({0, 0}, photo);
  const PanelInPhoto panel(reading);
  if (!panel.known()) return whole;
  // the card's arms, and stripes round them
  constexpr double card_from_mm = -30, card_long_mm = 130, card_short_mm = 90, worth = 0.7, air_share = 0.12;
  double x0 = photo.width, y0 = photo.height, x1 = 0, y1 = 0;
  const auto include = [&](const std::pair<double, double>& px) {
    x0 = std::min(x0, px.first);
    x1 = std::max(x1, px.first);
    y0 = std::min(y0, px.second);
    y1 = std::max(y1, px.second);
  };
  for (const double x : {card_from_mm, card_long_mm})
    for (const double y : {card_from_mm, card_short_mm}) include(panel.pixel({x, y}));
  for (const auto& outline : reading.outlines_px)
    for (const auto& px : outline)
      if (std::isfinite(px.first) && std::isfinite(px.second)) include(px);
  const double air = air_share * std::max(x1 - x0, y1 - y0);
  const cv::Rect2d part = cv::Rect2d(x0 - air, y0 - air, x1 - x0 + 2 * air, y1 - y0 + 2 * air) & whole;
  constexpr double least_side_px = 300;
  const bool useful =
      part.width > least_side_px && part.height > least_side_px && part.area() < worth * whole.area();
  return useful ? part : whole;
}

/// A crease as for tabs of a third of its length; highs are tapped where they stand highest.
std::vector<PointMm> places_of(const Dent& dent) {
  if (dent.kind == Kind::high) return {*dent.deepest};
  return pull_places(dent, dent.length_mm.value / 3);
}

std::vector<Spot> spots_of(const AnnotateInput& input, const View& view) {
  const Reading& reading = input.reading;
  const Wording& words = input.words;
  // Fewer words a label where there are many of them; the rows below say it all.
  const bool with_depth = reading.dents.size() <= 6, with_size = reading.dents.size() <= 12;
  std::vector<Spot> spots;
  for (std::size_t i = 0; i < reading.dents.size(); ++i) {
    const Dent& dent = reading.dents[i];
    Spot spot;
    spot.number = input.number(i);
    spot.kind = dent.kind;
    if (with_size) spot.first_line = size_in_short(dent, words);
    if (with_depth) spot.second_line = kind_and_depth(dent, words);
    if (i < reading.outlines_px.size())
      for (const auto& px : reading.outlines_px[i])
        if (std::isfinite(px.first) && std::isfinite(px.second)) spot.outline.push_back(view.on_canvas(px));
    if (dent.deepest && i < reading.outlines_px.size())
      if (const PanelInPhoto near(dent.outline, reading.outlines_px[i]); near.known())
        for (const PointMm& place : places_of(dent))
          spot.crosses.push_back(view.on_canvas(near.pixel(place)));
    spots.push_back(spot);
  }
  return spots;
}

bool hides_a_spot(const cv::Rect2d& box, const std::vector<Spot>& spots) {
  return std::any_of(spots.begin(), spots.end(), [&](const Spot& spot) {
    return std::any_of(spot.outline.begin(), spot.outline.end(),
                       [&](const cv::Point2d& p) { return box.contains(p); });
  });
}

/// The first corner of the photo, from the lower left on, where a box of that size hides no spot.
cv::Rect2d free_corner(const cv::Size2d& size, const cv::Size2d& photo, double margin,
                       const std::vector<Spot>& spots) {
  const double right = photo.width - margin - size.width, bottom = photo.height - margin - size.height;
  const cv::Point2d corners[] = {{margin, bottom}, {right, bottom}, {margin, margin}, {right, margin}};
  for (const cv::Point2d& corner : corners)
    if (const cv::Rect2d box(corner, size); !hides_a_spot(box, spots)) return box;
  return {corners[0], size};
}

/// Draws a bar of a round length, as long as it is at the card, and returns the box that it needs.
cv::Rect2d draw_scale_bar(PixelCanvas& canvas, const Reading& reading, const std::vector<Spot>& spots,
                          const cv::Size2d& photo, double scale, double size, const Wording& words) {
  const double px_per_mm = reading.setup.pixels_per_mm * scale;
  if (!(px_per_mm > 0) || !std::isfinite(px_per_mm)) return {};
  double length_mm = round_step(photo.width / px_per_mm, 6);
  if (length_mm * px_per_mm > 0.5 * photo.width) length_mm = round_step(photo.width / px_per_mm, 20);
  const double length = length_mm * px_per_mm;
  const std::string text = words.with_units(
      words("picture.scale", {{"length", words.with_decimal_mark(tick_text(length_mm, length_mm))}}));
  const TextStyle style{0.85 * size, palette::ink, Align::left, false};
  const double width = std::max(length, text_width(text, style)) + 1.2 * size;
  const cv::Rect2d box = free_corner({width, 2.5 * size}, photo, 0.4 * size, spots);
  canvas.rectangle(box, palette::paper, 0.94);
  canvas.text(text, box.x + 0.6 * size, box.y + 1.05 * size, style);
  canvas.rectangle({box.x + 0.6 * size, box.y + 1.55 * size, length, 0.3 * size}, palette::ink);
  for (const double end : {0.0, length - 0.12 * size})
    canvas.rectangle({box.x + 0.6 * size + end, box.y + 1.3 * size, 0.12 * size, 0.8 * size}, palette::ink);
  return box;
}

struct LineLook {
  std::array<double, 2> dashes;  ///< of the light pattern: drawn, left out
  bool dark_dashed;
  double dark_opacity, dark_width, light_width;
};

/// A line through points of the photo, dark with a light pattern on it; what was cropped off is not drawn
/// over the rows.
void draw_over_photo(PixelCanvas& canvas, const std::vector<std::pair<double, double>>& points_px,
                     bool closed, const View& view, const cv::Size2d& photo, const LineLook& look) {
  cairo_t* cairo = canvas.cairo();
  cairo_save(cairo);
  cairo_rectangle(cairo, 0, 0, photo.width, photo.height);
  cairo_clip(cairo);
  cairo_new_path(cairo);
  for (const auto& px : points_px) {
    if (!std::isfinite(px.first) || !std::isfinite(px.second)) continue;
    const cv::Point2d p = view.on_canvas(px);
    cairo_line_to(cairo, p.x, p.y);
  }
  if (closed) cairo_close_path(cairo);
  cairo_set_dash(cairo, look.dashes.data(), look.dark_dashed ? 2 : 0, 0);
  set_colour(cairo, palette::ink, look.dark_opacity);
  cairo_set_line_width(cairo, look.dark_width);
  cairo_stroke_preserve(cairo);
  set_colour(cairo, palette::paper);
  cairo_set_dash(cairo, look.dashes.data(), 2, 0);
  cairo_set_line_width(cairo, look.light_width);
  cairo_stroke(cairo);
  cairo_restore(cairo);
}

/// Round what was judged, dotted: a dent outside would not have been seen.
void draw_judged_area(PixelCanvas& canvas, const Reading& reading, const View& view, const cv::Size2d& photo,
                      double size) {
  const LineLook dotted{{0.12 * size, 0.36 * size}, false, 0.6, 0.16 * size, 0.1 * size};
  for (const PixelOutline& outline : reading.judged_px)
    draw_over_photo(canvas, outline.points_px, true, view, photo, dotted);
}

/// Along body lines, in long dashes.
void draw_body_lines(PixelCanvas& canvas, const Reading& reading, const View& view, const cv::Size2d& photo,
                     double size) {
  const LineLook dashed{{1.2 * size, 0.6 * size}, true, 0.7, 0.2 * size, 0.1 * size};
  for (const auto* line_px : {&reading.body_line_px, &reading.second_body_line_px})
    if (line_px->size() >= 2) draw_over_photo(canvas, *line_px, false, view, photo, dashed);
}

}  // namespace

Picture annotated_picture(const AnnotateInput& input) {
  if (input.photo_bgr.type() != CV_8UC3 || input.photo_bgr.empty())
    throw std::invalid_argument("the photo to annotate must be CV_8UC3 and not empty");
  const Reading& reading = input.reading;
  const double reduced =
      reading.photo.width_px > 0 ? static_cast<double>(input.photo_bgr.cols) / reading.photo.width_px : 1;
  const cv::Rect2d part =
      part_that_matters(reading, {input.photo_bgr.cols / reduced, input.photo_bgr.rows / reduced});
  const cv::Rect cut = cv::Rect(cv::Point(part.tl() * reduced), cv::Point(part.br() * reduced)) &
                       cv::Rect({0, 0}, input.photo_bgr.size());
  const cv::Mat photo = enlarged(input.photo_bgr(cut));
  const int width = std::max(photo.cols, least_width_px);
  const double text_size = width / text_sizes_wide;
  const Legend legend(input, width, text_size);

  PixelCanvas canvas(width, photo.rows + static_cast<int>(std::ceil(legend.height())), palette::paper);
  canvas.paste(photo, 0, 0);
  const View view{reduced * photo.cols / cut.width, cv::Point2d(cut.tl()) / reduced};
  draw_judged_area(canvas, reading, view, photo.size(), text_size);
  draw_body_lines(canvas, reading, view, photo.size(), text_size);
  const std::vector<Spot> spots = spots_of(input, view);
  const cv::Rect2d bar =
      draw_scale_bar(canvas, reading, spots, photo.size(), view.scale, text_size, input.words);
  draw_spots(canvas, spots, cv::Rect2d(0, 0, photo.cols, photo.rows), {bar}, text_size);
  legend.draw(canvas, photo.rows);
  return canvas.picture();
}

}  // namespace ripplegauge
