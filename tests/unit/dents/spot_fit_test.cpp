#include "dents/spot_fit.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <vector>

#include "catch.hpp"
#include "dents/joint_fit.hpp"
#include "drawn_panel.hpp"

using namespace ripplegauge;

namespace {

/// A flat panel seen from 400 mm straight above through a board at 300 mm that lies parallel to it: stripes
/// along y.
Patch striped_patch(const StripeProfile& profile, double half_mm, double step_mm) {
  constexpr double camera_mm = 400, board_mm = 300, pitch_mm = 12;
  Patch patch;
  patch.half_mm = half_mm;
  patch.step_mm = step_mm;
  patch.board = {{0, 0, 1}, {1, 0, 0}, pitch_mm, 0};
  patch.profile = &profile;
  patch.contrast = 0.2;
  patch.noise = 0.04;
  patch.gain = 2 * board_mm / pitch_mm;
  patch.columns = patch.rows = static_cast<int>(2 * half_mm / step_mm) + 1;
  for (int r = 0; r < patch.rows; ++r)
    for (int c = 0; c < patch.columns; ++c) {
      MirrorPixel p;
      p.x_mm = static_cast<float>(-half_mm + c * step_mm);
      p.y_mm = static_cast<float>(-half_mm + r * step_mm);
      p.ray_x = p.x_mm;
      p.ray_y = p.y_mm;
      p.ray_z = -camera_mm;
      p.from_normal = -board_mm;
      p.from_across = p.x_mm;
      p.ray_normal = p.ray_z;
      p.ray_across = p.ray_x;
      p.phase_x = static_cast<float>((1 + board_mm / camera_mm) / pitch_mm);
      patch.pixel.push_back(p);
      patch.cell.push_back(r * patch.columns + c);
    }
  const std::size_t n = patch.size();
  patch.light.assign(n, 0);
  patch.clipped.assign(n, 0);
  patch.whitening.assign(n, 25.0F);
  for (auto* v : {&patch.base_z, &patch.base_slope_x, &patch.base_slope_y, &patch.base_xx, &patch.base_xy,
                  &patch.base_yy, &patch.soft_slope_x, &patch.soft_slope_y})
    v->assign(n, 0);
  return patch;
}

SpotVector spot(double x, double y, double radius, double height) {
  constexpr double order = 5;
  return drawn_spot(x, y, 2 * radius, height, 1, 0, 2, order);
}

/// The light that a sum of spots would send back.
void paint(Patch& patch, const SpotSum& sum) {
  Patch shown = patch;
  explain(shown, sum);
  for (std::size_t i = 0; i < patch.size(); ++i) {
    const double phase =
        patch.board.phase(patch.pixel[i], shown.base_z[i], shown.base_slope_x[i], shown.base_slope_y[i])
            .phase;
    patch.light[i] = 0.4F + 0.2F * patch.profile->at(phase).value;
  }
}

}  // namespace

TEST_CASE("a step within a dent: both of its spots are found again from a start that is off in all of them",
          "[dents]") {
  const StripeProfile profile = StripeProfile::cosine();
  Patch patch = striped_patch(profile, 24, 0.4);
  const SpotSum truth{spot(0, 0, 12, -0.12), spot(3, -1, 5, -0.06)};
  paint(patch, truth);
  const SpotSum found =
      polish_sum(patch, {spot(0.5, 0.3, 12.6, -0.11), spot(2.6, -0.6, 5.6, -0.052)}, false, 40);
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
  const SpotFit one = polish_spot(some_pixels(patch), spot(0, 0, 11, -0.16), false, 40);
  CHECK(both.cost < 0.1 * one.cost);
}

TEST_CASE("a fit in parts is the same on any number of threads", "[dents]") {
  const StripeProfile profile = StripeProfile::cosine();
  Patch patch = striped_patch(profile, 24, 0.4);
  paint(patch, {spot(0, 0, 12, -0.12), spot(3, -1, 5, -0.06)});
  for (std::size_t i = 0; i < patch.size(); i += 7) patch.clipped[i] = patch.light[i] > 0.5F;
  const auto fitted = [&](int threads) {
    patch.threads = threads;
    const PixelArrays pixels = some_pixels(patch);
    REQUIRE(pixels.parts() > 3);
    return polish_spot(pixels, spot(0.5, 0.3, 12.6, -0.11), true, 6);
  };
  const SpotFit alone = fitted(1), helped = fitted(4);
  CHECK(alone.spot == helped.spot);
  CHECK(alone.cost == helped.cost);
  CHECK(alone.height_variance == helped.height_variance);
}

TEST_CASE("a fit of few pixels is in one part, and parts begin where the one before ends", "[dents]") {
  const StripeProfile profile = StripeProfile::cosine();
  Patch patch = striped_patch(profile, 24, 0.4);
  CHECK(some_pixels(patch, 1800).parts() == 1);
  const PixelArrays pixels = some_pixels(patch);
  std::size_t end = 0;
  pixels.for_parts([&](std::size_t, std::size_t from, std::size_t to) {  // one thread: in their order
    CHECK(from == end);
    CHECK(to > from);
    end = to;
  });
  CHECK(end == patch.size());
}

TEST_CASE("drawn spots have the heights of their sum, and bend smoothly far from the origin, too",
          "[dents]") {
  const SpotVector first = spot(260, -180, 9, -0.3), second = spot(263, -181, 4, 0.1);
  const Relief map = draw_spots(std::array{first, second}, 261, -180, 15, 61);
  const SpotShape<double> a(first), b(second);
  const auto height = [&](int row, int column) {
    const double x = map.x0_mm + column * map.step_mm, y = map.y0_mm + row * map.step_mm;
    return a.at(x, y).z + b.at(x, y).z;
  };
  CHECK(map.step_mm == Approx(0.5));
  for (int row = 1; row + 1 < map.rows; row += 3)
    for (int column = 1; column + 1 < map.columns; column += 3) {
      REQUIRE(map.at(row, column) == Approx(height(row, column)).margin(1e-6));
      const double bend = map.at(row, column - 1) - 2 * map.at(row, column) + map.at(row, column + 1);
      REQUIRE(
          bend ==
          Approx(height(row, column - 1) - 2 * height(row, column) + height(row, column + 1)).margin(1e-6));
    }
}

TEST_CASE("spots of other heights explain the stripes the worse, the further from the true one", "[dents]") {
  const StripeProfile profile = StripeProfile::cosine();
  Patch patch = striped_patch(profile, 24, 0.4);
  const SpotVector truth = spot(0, 0, 12, -0.12);
  Patch shown = patch;
  explain(shown, truth);
  for (std::size_t i = 0; i < patch.size(); ++i)
    patch.light[i] = 0.4F + 0.2F * profile
                                       .at(patch.board
                                               .phase(patch.pixel[i], shown.base_z[i], shown.base_slope_x[i],
                                                      shown.base_slope_y[i])
                                               .phase)
                                       .value;
  const SpotFit best = polish_spot(some_pixels(patch), truth, false);
  constexpr double ratio = 1.05, contradicted = 8;
  const std::vector<SpotFit> fits = polish_along_height(patch, best, false, ratio, contradicted);
  REQUIRE(fits.size() >= 3);
  for (std::size_t i = 1; i < fits.size(); ++i)
    CHECK(fits[i].spot[s_height] / fits[i - 1].spot[s_height] ==
          Approx(1 / ratio));  // lows: the deepest first
  const auto least = std::min_element(fits.begin(), fits.end(),
                                      [](const SpotFit& a, const SpotFit& b) { return a.cost < b.cost; });
  CHECK(least->spot[s_height] == Approx(-0.12).epsilon(0.04));
  CHECK(fits.front().cost > least->cost + contradicted);
  CHECK(fits.back().cost > least->cost + contradicted);
}

TEST_CASE(
    "noise that is the same over a millimetre makes pixels tell less of a spot than noise of each alone",
    "[dents]") {
  const StripeProfile profile = StripeProfile::cosine();
  SpotFit flat;
  flat.spot = spot(0, 0, 8, -1e-9);
  const auto factor = [&](int pixels_alike) {
    Patch patch = striped_patch(profile, 24, 0.25);
    for (std::size_t i = 0; i < patch.size(); ++i) {
      const auto at = [&](int v) { return static_cast<unsigned>(v / pixels_alike); };
      // A fixed scramble of the block's number: uniform in -1 ... 1.
      const unsigned block = at(patch.cell[i] / patch.columns) * 7919U + at(patch.cell[i] % patch.columns);
      const double noise =
          2 * std::fmod(block * 0.6180339887498949 + std::sin(block * 12.9898) * 43758.5453 + 1e6, 1.0) - 1;
      const double phase = patch.board.phase(patch.pixel[i], 0, 0, 0).phase;
      patch.light[i] = static_cast<float>(0.4 + 0.2 * (profile.at(phase).value + 0.04 * noise));
    }
    return correlated_noise(patch, flat, false);
  };
  CHECK(factor(1) < 2);
  CHECK(factor(5) > 4);
}

TEST_CASE("an answer of several photos lies within the bounds of the family", "[joint_fit]") {
  SpotVector start = SpotVector::Zero();
  start[s_log_n] = 24;  // of no spot: a power of e^24
  start[s_slant_u] = 3;
  const JointFit fit = fit_jointly({}, std::vector{start}, {.iterations = 0});
  REQUIRE(fit.spots.size() == 1);
  CHECK(fit.spots[0][s_log_n] == Approx(std::log(300.0)));
  CHECK(fit.spots[0][s_slant_u] == Approx(0.6));
}
