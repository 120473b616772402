#include <cmath>

#include "catch.hpp"
#include "ripplegauge/dents/spot_fit.hpp"

using namespace ripplegauge;

namespace {

/// A flat panel seen from 400 mm straight above through a board at 300 mm that lies parallel to it: stripes along y.
Patch striped_patch(const StripeProfile& profile, double half_mm, double step_mm) {
  constexpr double camera_mm = 400, board_mm = 300, pitch_mm = 12;
  Patch patch;
  patch.half_mm = half_mm, patch.step_mm = step_mm;
  patch.board = {{0, 0, 1}, {1, 0, 0}, pitch_mm, 0};
  patch.profile = &profile;
  patch.contrast = 0.2, patch.noise = 0.04;
  patch.gain = 2 * board_mm / pitch_mm;
  patch.columns = patch.rows = static_cast<int>(2 * half_mm / step_mm) + 1;
  for (int r = 0; r < patch.rows; ++r)
    for (int c = 0; c < patch.columns; ++c) {
      MirrorPixel p;
      p.x_mm = static_cast<float>(-half_mm + c * step_mm), p.y_mm = static_cast<float>(-half_mm + r * step_mm);
      p.ray_x = p.x_mm, p.ray_y = p.y_mm, p.ray_z = -camera_mm;
      p.from_normal = -board_mm, p.from_across = p.x_mm;
      p.ray_normal = p.ray_z, p.ray_across = p.ray_x;
      p.phase_x = static_cast<float>((1 + board_mm / camera_mm) / pitch_mm);
      patch.pixel.push_back(p);
      patch.cell.push_back(r * patch.columns + c);
    }
  const std::size_t n = patch.size();
  patch.light.assign(n, 0), patch.clipped.assign(n, 0), patch.whitening.assign(n, 25.0F);
  for (auto* v : {&patch.base_z, &patch.base_slope_x, &patch.base_slope_y, &patch.base_xx, &patch.base_xy, &patch.base_yy})
    v->assign(n, 0);
  return patch;
}

SpotVector spot(double x, double y, double radius, double height) {
  SpotVector s = SpotVector::Zero();
  s[s_x] = x, s[s_y] = y, s[s_log_a] = s[s_log_b] = std::log(radius);
  s[s_height] = height, s[s_log_p] = std::log(2.0), s[s_log_n] = std::log(5.0);
  return s;
}

/// The light that a sum of spots would send back.
void paint(Patch& patch, const SpotSum& sum) {
  Patch shown = patch;
  explain(shown, sum);
  for (std::size_t i = 0; i < patch.size(); ++i) {
    const double phase =
        patch.board.phase(patch.pixel[i], shown.base_z[i], shown.base_slope_x[i], shown.base_slope_y[i]).phase;
    patch.light[i] = 0.4F + 0.2F * patch.profile->at(phase).value;
  }
}

}  // namespace

TEST_CASE("a step within a dent: both of its spots are found again from a start that is off in all of them", "[dents]") {
  const StripeProfile profile = StripeProfile::cosine();
  Patch patch = striped_patch(profile, 24, 0.4);
  const SpotSum truth{spot(0, 0, 12, -0.12), spot(3, -1, 5, -0.06)};
  paint(patch, truth);
  const SpotSum found = polish_sum(patch, {spot(0.5, 0.3, 12.6, -0.11), spot(2.6, -0.6, 5.6, -0.052)}, false, 40);
  // The light is exact; the weak prior on shapes and the mean whitening leave a per cent.
  CHECK(found.first[s_height] == Approx(-0.12).epsilon(0.02));
  CHECK(found.second[s_height] == Approx(-0.06).epsilon(0.03));
  CHECK(found.second[s_x] == Approx(3).margin(0.1));
  CHECK(found.second[s_y] == Approx(-1).margin(0.1));
  CHECK(std::exp(found.first[s_log_a]) == Approx(12).epsilon(0.02));
  CHECK(std::exp(found.second[s_log_a]) == Approx(5).epsilon(0.03));
}

TEST_CASE("one spot cannot explain what a sum of two does", "[dents]") {
  const StripeProfile profile = StripeProfile::cosine();
  Patch patch = striped_patch(profile, 24, 0.4);
  const SpotSum truth{spot(0, 0, 12, -0.12), spot(3, -1, 5, -0.06)};
  paint(patch, truth);
  const SpotSum both = polish_sum(patch, truth, false, 10);
  const SpotFit one = polish_spot(patch, spot(0, 0, 11, -0.16), false, 40);
  CHECK(both.cost < 0.1 * one.cost);
}
