// Photos of one place, each seen squarely and at one scale, so that they can lie side by side.
#include <algorithm>
#include <cmath>
#include <numbers>
#include <opencv2/imgproc.hpp>

#include "files/compare_file.hpp"
#include "files/panel_photo.hpp"
#include "picture/palette.hpp"
#include "picture/rectified_view.hpp"

namespace ripplegauge {

namespace {

constexpr int view_side_px = 720;       // two of them fill a page at 200 dots an inch
constexpr double least_margin_mm = 12;  // some panel around the smallest spot

/// Around all spots, in the frame of the first shot; around the card's inside where there is none.
RectangleMm area_of(const CompareInput& input) {
  RectangleMm area{1e9, 1e9, -1e9, -1e9};
  const auto include = [&](PointMm centre, double diameter_mm) {
    const double reach = 0.5 * diameter_mm + std::max(least_margin_mm, 0.4 * diameter_mm);
    area.x0_mm = std::min(area.x0_mm, centre.x_mm - reach);
    area.y0_mm = std::min(area.y0_mm, centre.y_mm - reach);
    area.x1_mm = std::max(area.x1_mm, centre.x_mm + reach);
    area.y1_mm = std::max(area.y1_mm, centre.y_mm + reach);
  };
  for (const Dent& dent : input.first().reading.dents)
    include({dent.x_mm, dent.y_mm}, dent.diameter_mm.value);
  for (const Dent& dent : input.last().reading.dents)
    include(input.comparison().alignment.motion.before_from_after({dent.x_mm, dent.y_mm}),
            dent.diameter_mm.value);
  return area.x1_mm > area.x0_mm ? area : RectangleMm{14, 14, 100, 80};
}

void draw_outlines(cv::Mat& view, const std::vector<Dent>& dents, const RectangleMm& area,
                   double pixels_per_mm) {
  constexpr int fraction_bits = 4;  // OpenCV draws with sixteenths of a pixel
  for (const Dent& dent : dents) {
    std::vector<PointMm> outline = dent.outline;
    if (outline.size() < 3) {
      outline.clear();
      for (int i = 0; i < 72; ++i) {
        const double angle = i * std::numbers::pi / 36, radius = 0.5 * dent.diameter_mm.value;
        outline.push_back({dent.x_mm + radius * std::cos(angle), dent.y_mm + radius * std::sin(angle)});
      }
    }
    std::vector<cv::Point> points;
    points.reserve(outline.size());
    for (const PointMm& point : outline)
      points.emplace_back(
          static_cast<int>(std::lround(16 * ((point.x_mm - area.x0_mm) * pixels_per_mm - 0.5))),
          static_cast<int>(std::lround(16 * ((area.y1_mm - point.y_mm) * pixels_per_mm - 0.5))));
    const Rgb& colour = dent.kind == Kind::low ? palette::low : palette::high;
    const cv::Scalar bgr(255 * colour.blue, 255 * colour.green, 255 * colour.red);
    cv::polylines(view, points, true, cv::Scalar::all(255), 4, cv::LINE_AA, fraction_bits);
    cv::polylines(view, points, true, bgr, 2, cv::LINE_AA, fraction_bits);
  }
}

}  // namespace

std::vector<cv::Mat> squared_views(const std::vector<std::filesystem::path>& photos,
                                   const CompareInput& input, const CardDefinition& card) {
  const RectangleMm area = area_of(input);
  const double pixels_per_mm = view_side_px / std::max(area.x1_mm - area.x0_mm, area.y1_mm - area.y0_mm);
  std::vector<cv::Mat> views;
  for (std::size_t i = 0; i < photos.size(); ++i) {
    views.emplace_back();
    const CardMotion motion = i == 0 ? CardMotion{} : input.series.against_first[i - 1].alignment.motion;
    if (photos[i].empty()) continue;
    PanelPhoto photo = read_panel_photo(photos[i], card, input.shots[i].reading.setup.bar_length_mm);
    for (SeenPlace& seen : photo.places) seen.place = motion.before_from_after(seen.place);
    views.back() = rectified_view(photo.bgr, photo.places, area, pixels_per_mm);
    if (!views.back().empty()) draw_outlines(views.back(), input.first().reading.dents, area, pixels_per_mm);
  }
  return views;
}

}  // namespace ripplegauge
