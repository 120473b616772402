// Patches of drawn panels: which pixels they take, the light that is solved for them, and the free surface.
#include <algorithm>
#include <cmath>

#include "catch.hpp"
#include "drawn_panel.hpp"
#include "relief/photo_blur.hpp"
#include "relief/spot_geometry.hpp"
#include "relief/surface_fit.hpp"

using namespace ripplegauge;

namespace {

Patch patch_of(const DrawnPanel& panel, const PatchRequest& request,
               const std::vector<Disc>& leave_out = {}) {
  return make_patch(panel.grey, panel.problem, panel.scene.parameters, panel.residual, request, leave_out,
                    drawn_pixels_per_mm);
}

PatchRequest square(double x_mm, double y_mm, double half_mm, std::size_t most = 20000) {
  PatchRequest request;
  request.x_mm = x_mm;
  request.y_mm = y_mm;
  request.half_mm = half_mm;
  request.step_mm = 0.3;
  request.max_pixels = most;
  return request;
}

LightFit light_of(const PixelArrays& pixels) {
  LightFit light;
  predict_phase(pixels, pixels.base, Eigen::Vector3d::Zero(), light);
  solve_light(pixels, pixels.base, {}, light);
  return light;
}

}  // namespace

TEST_CASE("a patch takes the square's pixels without card, discs and what is too many", "[patch]") {
  const auto panel = draw_panel({});
  const Patch open = patch_of(*panel, square(90, 65, 12));
  const double cells = std::pow(24 / 0.3, 2);
  CHECK(static_cast<double>(open.size()) == Approx(cells).epsilon(0.05));
  const Patch beside_card = patch_of(*panel, square(90, 14, 12));
  CHECK(static_cast<double>(beside_card.size()) == Approx(0.5 * cells).epsilon(0.15));
  const Patch without = patch_of(*panel, square(90, 65, 12), {{90, 65, 6}});
  CHECK(static_cast<double>(open.size() - without.size()) == Approx(M_PI * 36 / 0.09).epsilon(0.05));
  for (const MirrorPixel& p : without.pixel) CHECK(std::hypot(p.x_mm - 90, p.y_mm - 65) > 5.9);
  CHECK(patch_of(*panel, square(90, 65, 12, 1000)).size() <= 1000);
  CHECK(patch_of(*panel, square(500, 500, 12)).size() == 0);
}

TEST_CASE("the light of undisturbed panel is what was drawn, and explains it to the noise", "[patch]") {
  Drawing drawing;
  const auto panel = draw_panel(drawing);
  const Patch patch = patch_of(*panel, square(90, 65, 15));
  const PixelArrays pixels = gather(patch);
  const LightFit light = light_of(pixels);
  CHECK(light.coefficients[0] == Approx(drawing.light).epsilon(0.03));
  CHECK(light.coefficients[LightModel::level_terms] == Approx(drawing.swing).epsilon(0.06));
  double squares = 0;
  for (const float r : light.residual) squares += r * r;
  CHECK(squares / static_cast<double>(light.residual.size()) < 1.5);
}

TEST_CASE("a burnt-out pixel says no more than that it is bright", "[patch]") {
  Drawing drawing;
  drawing.light = 0.72;
  drawing.swing = 0.3;
  const auto panel = draw_panel(drawing);
  const Patch patch = patch_of(*panel, square(90, 65, 15));
  CHECK(patch.clipped_fraction > 0.3);
  const LightFit light = light_of(gather(patch));
  std::size_t explained = 0, clipped = 0;
  for (std::size_t i = 0; i < patch.size(); ++i) {
    clipped += patch.clipped[i];
    explained += patch.clipped[i] && light.residual[i] == 0;
  }
  CHECK(static_cast<double>(explained) > 0.5 * static_cast<double>(clipped));
}

TEST_CASE("phase noise that neighbours share inflates the score, noise of each pixel does not", "[patch]") {
  Drawing drawing;
  drawing.noise = 0.02;
  const auto noisy = draw_panel(drawing);
  drawing.noise = 0.002;
  drawing.peel_slope = 8e-4;
  const auto peeled = draw_panel(drawing);
  const auto inflation = [](const DrawnPanel& panel) {
    const Patch patch = patch_of(panel, square(90, 65, 20));
    const PixelArrays pixels = gather(patch);
    return score_inflation(pixels, light_of(pixels), 2, 90, 65, 0, 100);
  };
  CHECK(inflation(*noisy) < 3);
  CHECK(inflation(*peeled) > 4 * inflation(*noisy));
}

TEST_CASE("a free surface finds the rim that its spot lacks, and stays flat where nothing is", "[surface]") {
  Drawing drawing;
  // A low with a ring of raised metal, as a wider high of the same place.
  const SpotVector low = drawn_spot(90, 65, 20, -0.25), high = drawn_spot(90, 65, 34, 0.06);
  drawing.spots = {low, high};
  const auto panel = draw_panel(drawing);
  Patch patch = patch_of(*panel, square(90, 65, 30, 8000));
  const auto fitted = [&](const std::vector<SpotVector>& known) {
    Patch explained = patch;
    explain(explained, known);
    set_whitening(explained, drawn_spot(90, 65, 20, 0));
    SurfaceRequest request;
    request.extent = {90, 65, 24, 24, 0};
    request.mean_radius_mm = 10;
    request.height_mm = -0.2;
    request.spacing_mm = 2.5;
    request.odd_shape = true;
    const SurfaceFit fit = fit_surface(std::span(&explained, 1), request);
    REQUIRE(fit.solved);
    Relief map{65, 40, 0.5, 101, 101, std::vector<float>(101 * 101, 0.0F)};
    fit.surface.add_to(map, fit.departure);
    return map;
  };
  const Relief all_known = fitted({low, high}), rim_missing = fitted({low});
  const auto largest = [](const Relief& map) {
    float most = 0;
    for (const float h : map.height_mm) most = std::max(most, std::abs(h));
    return most;
  };
  CHECK(largest(all_known) < 0.008F);
  // On top of the low, what is missing is the high.
  CHECK(rim_missing.at(50, 50) == Approx(0.06).margin(0.012));
  CHECK(rim_missing.at(50, 70) == Approx(SpotShape<double>(high).at(100, 65).z).margin(0.01));
}

TEST_CASE("blur at a place goes by the tags at its depth", "[blur]") {
  const auto panel = draw_panel({});
  std::vector<SeenTag> tags = panel->problem.tags;
  for (SeenTag& tag : tags) {
    tag.edge_width_px = 1.5;
    tag.edge_variance_px2 = 0.3;
  }
  const PanelModel<double> model(panel->problem.constants, panel->scene.parameters);
  CHECK(blur_at(tags, model, 90, 60).width_px2 == Approx(mean_blur(tags).width_px2).epsilon(1e-6));
  CHECK(mean_blur(tags).moment_px2 == Approx(0.3));
  // Sharper towards the camera, which stands at small y.
  for (SeenTag& tag : tags) tag.edge_width_px = 1.5 + 0.004 * (450 - tag.corners_px[0].y);
  const PhotoBlur near = blur_at(tags, model, 60, 0), far = blur_at(tags, model, 60, 75);
  CHECK(far.width_px2 > near.width_px2);
  CHECK(blur_at({}, model, 60, 0).width_px2 == 0);
}
