#include <cmath>
#include <numbers>
#include <vector>

#include "catch.hpp"
#include "stripes/panel_view.hpp"
#include "stripes/reflectance.hpp"
#include "stripes/stripe_profile.hpp"

using namespace ripplegauge;

TEST_CASE("clear coat mirrors four per cent", "[stripes]") {
  // Fresnel at normal incidence, n = 1.5: 0.0400 (nfos.org, OPTI 185 lecture notes; recomputed).
  CHECK(normal_reflectance(1.5) == Approx(0.04).margin(1e-12));
}

TEST_CASE("a stripe profile is learnt, periodic and differentiable", "[stripes]") {
  std::vector<float> phase, value;
  for (int i = 0; i < 5000; ++i) {
    phase.push_back(static_cast<float>(i) * 0.00137F);
    value.push_back(static_cast<float>(std::sin(2 * std::numbers::pi * phase.back())));
  }
  const StripeProfile s = StripeProfile::fit(phase, value);
  const double scale =
      1 / std::sin(0.45 * std::numbers::pi);  // 5 % and 95 % quantiles of a sine become -1 and +1
  CHECK(s.value(0.25) == Approx(scale).epsilon(0.02));
  for (const double p : {0.1, 0.37, 0.8}) {
    CHECK(s.value(p) == Approx(s.value(p + 3)).margin(1e-5));
    CHECK(s.value(p) == Approx(s.value(p - 2)).margin(1e-5));
    CHECK(s.at(p).derivative == Approx((s.value(p + 1e-3) - s.value(p - 1e-3)) / 2e-3).epsilon(0.02));
  }
  // Blur takes exp(-b) of the first harmonic.
  CHECK(s.value(0.25, 0.5F) == Approx(scale * std::exp(-0.5)).epsilon(0.03));
}

TEST_CASE("convention: block averages keep pixel centres", "[conventions][stripes]") {
  // A ramp in linear light: any reduction must give the same value at the same full-size pixel.
  cv::Mat grey(60, 90, CV_8UC1);
  for (int r = 0; r < grey.rows; ++r)
    for (int c = 0; c < grey.cols; ++c) grey.at<uchar>(r, c) = static_cast<uchar>(100 + c);
  const ReducedLight fine(grey, 1, cv::Rect(0, 0, 90, 60)), coarse(grey, 3, cv::Rect(6, 3, 80, 50));
  for (const double u : {20.0, 33.5, 61.0})
    CHECK(coarse.sample(u, 30) == Approx(fine.sample(u, 30)).epsilon(0.003));
  CHECK(fine.sample(-5, 10) < 0);
}

TEST_CASE("maps of grids of any size are the model's", "[stripes]") {
  PanelConstants constants;
  constants.nominal_focal_px = 3000;
  constants.pitch_mm = 16;
  constants.nominal_distance_mm = 300;
  constants.base_rotation << 1, 0, 0, 0, -1, 0, 0, 0, -1;  // the camera looks straight down
  PanelVector parameters = PanelVector::Zero();
  parameters[p_translation + 2] = 500;
  const PanelModel<double> model(constants, parameters);
  for (int columns = 2; columns < 28; ++columns) {
    const PanelGrid grid{-4, 3, 0.5, columns, 29 - columns};
    const PanelMaps maps = panel_maps(model, grid);
    double worst_px = 0, worst_cycles = 0;
    for (int r = 0; r < grid.rows; ++r)
      for (int c = 0; c < grid.columns; ++c) {
        const double x = grid.x_mm(c), y = grid.y_mm(r);
        const double off_px = std::abs(maps.u_px.at<float>(r, c) - model.pixel_from_panel(x, y).u_px);
        const double off_cycles = std::abs(maps.phase_cycles.at<float>(r, c) - model.phase(x, y, 0.0, 0.0));
        // Not a number is never less than anything.
        if (!(off_px < worst_px)) worst_px = off_px;
        if (!(off_cycles < worst_cycles)) worst_cycles = off_cycles;
      }
    CAPTURE(columns);
    CHECK(worst_px < 0.01);
    CHECK(worst_cycles < 0.001);
  }
}
