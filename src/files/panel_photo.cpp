// The card's tags are found in the photo at its full size; what is shown of it is smaller.
#include "files/panel_photo.hpp"

#include <algorithm>
#include <cmath>
#include <memory>
#include <numbers>

#include "card/tag_detector.hpp"
#include "files/photo_folder.hpp"
#include "panel/bundle.hpp"
#include "ripplegauge/photo/photo.hpp"

namespace ripplegauge {
namespace {

constexpr int photo_side_px = 4000;  // more pixels than the view can show

std::vector<SeenPlace> places_of(const cv::Mat& grey, const CardDefinition& card, double bar_length_mm,
                                 double reduction) {
  std::vector<SeenPlace> places;
  for (const SeenTag& seen : find_tags(grey)) {
    const auto tag =
        std::find_if(card.tags.begin(), card.tags.end(), [&](const CardTag& t) { return t.id == seen.id; });
    if (tag == card.tags.end()) continue;
    const auto corners = tag_corners_mm(*tag, card.tag_side_mm, bar_length_mm / card.bar_nominal_mm, 0.0);
    for (std::size_t i = 0; i < corners.size(); ++i) {
      // Pixel centres are whole numbers at every size.
      const cv::Point2d pixel((seen.corners_px[i].x + 0.5) / reduction - 0.5,
                              (seen.corners_px[i].y + 0.5) / reduction - 0.5);
      places.push_back({pixel, {corners[i][0], corners[i][1]}});
    }
  }
  return places;
}

}  // namespace

PanelPhoto read_panel_photo(const std::filesystem::path& photo, const CardDefinition& card,
                            double bar_length_mm) {
  PanelPhoto result{read_photo_colour(photo, photo_side_px), {}};
  const Photo full = read_photo(photo);
  result.places =
      places_of(full.grey, card, bar_length_mm, static_cast<double>(full.grey.cols) / result.bgr.cols);
  return result;
}

std::filesystem::path photo_of(const Reading& reading, const std::filesystem::path& reading_file) {
  return has_photo_ending(reading.photo.name) ? photo_beside(reading.photo.name, reading_file)
                                              : std::filesystem::path{};
}

PanelView panel_view(PanelPhoto photo) {
  return [photo = std::make_shared<const PanelPhoto>(std::move(photo))](
             PointMm centre, double along_deg, double width_mm, double height_mm, double pixels_per_mm) {
    const double angle = along_deg * std::numbers::pi / 180, c = std::cos(angle), s = std::sin(angle);
    std::vector<SeenPlace> places = photo->places;
    for (SeenPlace& seen : places) {
      const double x_mm = seen.place.x_mm - centre.x_mm, y_mm = seen.place.y_mm - centre.y_mm;
      seen.place = {c * x_mm + s * y_mm, -s * x_mm + c * y_mm};
    }
    return rectified_view(photo->bgr, places,
                          {-0.5 * width_mm, -0.5 * height_mm, 0.5 * width_mm, 0.5 * height_mm},
                          pixels_per_mm);
  };
}

}  // namespace ripplegauge
