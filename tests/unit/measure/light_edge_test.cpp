// An edge of light or shadow across the stripes must not hide a dent behind an all-clear; most are taken out
// of the photo, and the dent is measured as without.
#include <cmath>

#include "altered_photos.hpp"
#include "catch.hpp"
#include "core/linear_light.hpp"
#include "ripplegauge/measure/photo_check.hpp"

using namespace ripplegauge;

namespace {

/// The photo with its linear light times `factor` and plus `veil` on one side of a line through (u, v) px.
Photo with_edge(const Photo& photo, cv::Point2d at, double angle_deg, double width_px, double factor,
                double veil) {
  cv::Mat grey = photo.grey.clone();
  const double c = std::cos(angle_deg * CV_PI / 180), s = std::sin(angle_deg * CV_PI / 180);
  for (int r = 0; r < grey.rows; ++r)
    for (int k = 0; k < grey.cols; ++k) {
      const double across = ((k - at.x) * c + (r - at.y) * s) / width_px;
      const double share = 1 / (1 + std::exp(-4 * across));
      const double linear = linear_from_srgb8()[grey.at<uchar>(r, k)];
      const double light = linear * (1 + (factor - 1) * share) + veil * share;
      grey.at<uchar>(r, k) = static_cast<uchar>(std::lround(srgb_code_from_linear(light)));
    }
  return with_grey(photo, grey);
}

}  // namespace

TEST_CASE("an edge of light hides no dent and changes none", "[light_edge]") {
  int scenes = 0, measured = 0;
  for (const char* name : {"low-dark", "high-dark"}) {
    const Sample s = sample(name);
    const Places places(s.photo, s.request);
    const auto& rim = s.dents.at(0).at("rim");
    const double x_mm = rim.at("cx"), y_mm = rim.at("cy"), diameter_mm = rim.at("eq_diameter");
    for (const auto& [factor, veil] : {std::pair{0.35, 0.0}, {2.0, 0.0}, {1.0, 0.15}})
      for (const double width_px : {12.0, 40.0, 120.0})
        for (const double aside_mm : {0.0, 0.6 * diameter_mm}) {
          INFO(name << ", light x " << factor << " + " << veil << " over " << width_px << " px, " << aside_mm
                    << " mm beside the middle");
          const Photo photo =
              with_edge(s.photo, places.px(x_mm + aside_mm, y_mm), 25, width_px, factor, veil);
          const Reading reading = measure(photo, s.request).reading;
          if (reading.status == Status::no_dent) {
            REQUIRE(reading.setup.judged);
            CHECK(reading.setup.judged->covered_share(x_mm, y_mm, diameter_mm) < 0.5);
          }
          CHECK(reading.dents.size() <= 1);
          ++scenes;
          if (reading.dents.empty()) continue;
          ++measured;
          const Quantity& diameter = reading.dents[0].diameter_mm;
          CHECK(diameter.low < diameter_mm);
          CHECK(diameter.high > diameter_mm);
        }
  }
  CHECK(measured >= 0.75 * scenes);
}

TEST_CASE("no edge of light is seen where there is none", "[light_edge]") {
  for (const char* name : {"low-dark", "high-dark", "low-light", "hail", "no-dent"}) {
    INFO(name);
    const Sample s = sample(name);
    for (const Warning& w : measure(s.photo, s.request).reading.warnings) CHECK(w.code != "light_edge");
  }
}
