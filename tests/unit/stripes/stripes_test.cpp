#include <cmath>
#include <numbers>
#include <vector>

#include "catch.hpp"
#include "ripplegauge/stripes/panel_view.hpp"
#include "ripplegauge/stripes/reflectance.hpp"
#include "ripplegauge/stripes/stripe_profile.hpp"

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
  const double scale = 1 / std::sin(0.45 * std::numbers::pi);  // 5 % and 95 % quantiles of a sine become -1 and +1
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
  for (const double u : {20.0, 33.5, 61.0}) CHECK(coarse.sample(u, 30) == Approx(fine.sample(u, 30)).epsilon(0.003));
  CHECK(fine.sample(-5, 10) < 0);
}
