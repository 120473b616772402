// Left the photo round the spot, right the same place under stripes as they should run; between them an
// arrow.
#include "picture/next_photo_picture.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <stdexcept>

#include "drawing.hpp"

namespace ripplegauge {

using namespace picture_detail;

namespace {

constexpr int width_px = 1000;
constexpr double disc_px = 190, left_x = 245, right_x = 755, middle_y = 275, text_px = 26, margin_px = 40;
/// How much of the photo a disc shows: the spot and as much again on either side, but some stripes at least.
constexpr double spots_across = 2.5, least_pairs_across = 7;

/// The place that both discs show, in pixels of the full-size photo.
struct Place {
  cv::Point2d centre;
  double radius_px = 0;
  std::vector<cv::Point2d> outline;

  cv::Point2d in_disc(const cv::Point2d& px, double disc_x) const {
    return cv::Point2d(disc_x, middle_y) + (px - centre) * (disc_px / radius_px);
  }
};

Place place_of(const Reading& reading, const NextPhoto& next) {
  const auto spot = static_cast<std::size_t>(next.spot);
  if (next.spot < 0 || spot >= reading.outlines_px.size() || reading.outlines_px[spot].size() < 3)
    throw std::invalid_argument("the reading has no outline of the spot that is to be photographed again");
  Place place;
  for (const auto& [u, v] : reading.outlines_px[spot]) place.outline.emplace_back(u, v);
  for (const cv::Point2d& p : place.outline)
    place.centre += p * (1.0 / static_cast<double>(place.outline.size()));
  double reach = 0;
  for (const cv::Point2d& p : place.outline) reach = std::max(reach, cv::norm(p - place.centre));
  place.radius_px =
      std::max({0.5 * spots_across * 2 * reach, 0.5 * least_pairs_across * next.stripe_period_px, 1.0});
  return place;
}

void clip_to_disc(cairo_t* cairo, double x) {
  cairo_new_path(cairo);
  cairo_arc(cairo, x, middle_y, disc_px, 0, 2 * std::numbers::pi);
  cairo_clip(cairo);
}

void draw_rim(PixelCanvas& canvas, double x) {
  cairo_t* cairo = canvas.cairo();
  cairo_new_path(cairo);
  cairo_arc(cairo, x, middle_y, disc_px, 0, 2 * std::numbers::pi);
  set_colour(cairo, palette::grey);
  cairo_set_line_width(cairo, 3);
  cairo_stroke(cairo);
}

void draw_outline(PixelCanvas& canvas, const Place& place, double disc_x, Kind kind) {
  cairo_t* cairo = canvas.cairo();
  cairo_save(cairo);
  clip_to_disc(cairo, disc_x);
  cairo_new_path(cairo);
  for (const cv::Point2d& px : place.outline) {
    const cv::Point2d p = place.in_disc(px, disc_x);
    cairo_line_to(cairo, p.x, p.y);
  }
  cairo_close_path(cairo);
  set_colour(cairo, palette::paper);
  cairo_set_line_width(cairo, 7);
  cairo_stroke_preserve(cairo);
  set_colour(cairo, colour_of(kind));
  set_dashes(cairo, kind, 4);
  cairo_set_line_width(cairo, 4);
  cairo_stroke(cairo);
  cairo_restore(cairo);
}

/// The photo, cut square round the place and enlarged to the disc.
void draw_photo(PixelCanvas& canvas, const cv::Mat& photo, double reduced, const Place& place) {
  const double scale = disc_px / (place.radius_px * reduced);
  const cv::Point2d corner = (place.centre - cv::Point2d(place.radius_px, place.radius_px)) * reduced;
  const cv::Matx23d map(scale, 0, -corner.x * scale, 0, scale, -corner.y * scale);
  const int side = static_cast<int>(2 * disc_px);
  cv::Mat square;
  cv::warpAffine(photo, square, map, {side, side}, cv::INTER_LINEAR, cv::BORDER_CONSTANT,
                 cv::Scalar::all(255));
  cv::Mat outside(side, side, CV_8U, cv::Scalar(255));
  cv::circle(outside, {side / 2, side / 2}, side / 2, 0, cv::FILLED);
  square.setTo(cv::Scalar::all(255), outside);
  canvas.paste(square, static_cast<int>(left_x - disc_px), static_cast<int>(middle_y - disc_px));
}

/// Stripes as they should run: their direction and how fine they are, not how the dent bends them.
void draw_stripes(PixelCanvas& canvas, const Place& place, const NextPhoto& next) {
  cairo_t* cairo = canvas.cairo();
  const double period = next.stripe_period_px * next.period_factor * disc_px / place.radius_px;
  const double angle = -(next.stripe_direction_deg + next.turn_deg) * std::numbers::pi / 180;
  cairo_save(cairo);
  clip_to_disc(cairo, right_x);
  canvas.rectangle({right_x - disc_px, middle_y - disc_px, 2 * disc_px, 2 * disc_px}, palette::paper);
  cairo_translate(cairo, right_x, middle_y);
  cairo_rotate(cairo, angle);
  set_colour(cairo, palette::ink, 0.75);
  const int each_way = period > 1 ? static_cast<int>(disc_px / period) + 1 : 0;
  for (int i = -each_way; i <= each_way; ++i)
    cairo_rectangle(cairo, -disc_px, (i - 0.25) * period, 2 * disc_px, 0.5 * period);
  cairo_fill(cairo);
  cairo_restore(cairo);
}

void draw_arrow(PixelCanvas& canvas, cv::Point2d from, cv::Point2d to, const Rgb& colour) {
  cairo_t* cairo = canvas.cairo();
  const cv::Point2d along = (to - from) * (1 / std::max(cv::norm(to - from), 1e-9)),
                    across(-along.y, along.x);
  constexpr double head = 24;
  const cv::Point2d neck = to - head * along, a = neck + 0.6 * head * across, b = neck - 0.6 * head * across;
  set_colour(cairo, colour);
  cairo_set_line_width(cairo, 8);
  cairo_move_to(cairo, from.x, from.y);
  cairo_line_to(cairo, neck.x, neck.y);
  cairo_stroke(cairo);
  cairo_move_to(cairo, to.x, to.y);
  cairo_line_to(cairo, a.x, a.y);
  cairo_line_to(cairo, b.x, b.y);
  cairo_close_path(cairo);
  cairo_fill(cairo);
}

/// Where stripes are wanted, an arrow points out of the spot.
void draw_missing_side(PixelCanvas& canvas, const std::string& side) {
  const cv::Point2d way = side == "right"   ? cv::Point2d(1, 0)
                          : side == "left"  ? cv::Point2d(-1, 0)
                          : side == "above" ? cv::Point2d(0, -1)
                          : side == "below" ? cv::Point2d(0, 1)
                                            : cv::Point2d(0, 0);
  if (way == cv::Point2d(0, 0)) return;
  const cv::Point2d centre(left_x, middle_y);
  draw_arrow(canvas, centre + 0.45 * disc_px * way, centre + 0.97 * disc_px * way, palette::warning);
}

std::vector<std::string> all_lines(const NextPhoto& next, const TextStyle& style) {
  std::vector<std::string> all;
  for (const std::string& words : next.words)
    for (const std::string& line : lines_of(words, style, width_px - 2 * margin_px)) all.push_back(line);
  return all;
}

}  // namespace

Picture next_photo_picture(const cv::Mat& photo_bgr, const Reading& reading, const NextPhoto& next) {
  if (photo_bgr.type() != CV_8UC3 || photo_bgr.empty())
    throw std::invalid_argument("the photo must be CV_8UC3 and not empty");
  const Place place = place_of(reading, next);
  const double reduced =
      reading.photo.width_px > 0 ? static_cast<double>(photo_bgr.cols) / reading.photo.width_px : 1;
  const TextStyle plain{text_px, palette::ink}, title{1.15 * text_px, palette::ink, Align::centre, true};
  const std::vector<std::string> lines = all_lines(next, plain);
  constexpr double words_from = middle_y + disc_px + 2 * text_px, line_px = 1.4 * text_px;
  const double height = words_from + line_px * static_cast<double>(lines.size()) + 0.5 * margin_px;

  PixelCanvas canvas(width_px, static_cast<int>(std::ceil(height)), palette::paper);
  canvas.text("This photo", left_x, middle_y - disc_px - text_px, title);
  canvas.text("The next one", right_x, middle_y - disc_px - text_px, title);
  draw_photo(canvas, photo_bgr, reduced, place);
  draw_stripes(canvas, place, next);
  const Kind kind = reading.dents[static_cast<std::size_t>(next.spot)].kind;
  for (const double x : {left_x, right_x}) {
    draw_outline(canvas, place, x, kind);
    draw_rim(canvas, x);
  }
  draw_missing_side(canvas, next.stripes_missing);
  draw_arrow(canvas, {left_x + disc_px + 14, middle_y}, {right_x - disc_px - 14, middle_y}, palette::ink);
  double y = words_from;
  for (const std::string& line : lines) {
    canvas.text(line, margin_px, y, plain);
    y += line_px;
  }
  return canvas.picture();
}

}  // namespace ripplegauge
