// What the photo's blur is, as the tags' edges tell it, and that sizes do not go by it.
#include "relief/photo_blur.hpp"

#include <catch2/catch.hpp>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "core/linear_light.hpp"
#include "rendered_photo.hpp"

using namespace ripplegauge;

namespace {

rendered::Scene small_dent_under_blur(double blur_px) {
  rendered::Dent dent;
  dent.x_mm = 60;
  dent.y_mm = 50;
  dent.length_mm = 6.3;
  dent.width_mm = 5.7;
  dent.height_mm = -0.05;
  rendered::Scene scene = rendered::usual_scene(dent);
  scene.blur_px = blur_px;
  return scene;
}

constexpr double noise = 0.004;

}  // namespace

TEST_CASE("the tags' edges tell the variance of the blur, the pixels' squares included", "[photo_blur]") {
  const double blur_px = GENERATE(0.7, 1.1, 1.6);
  const cv::Mat light = rendered::render(small_dent_under_blur(blur_px));
  const PhotoBlur blur = mean_blur(find_tags(rendered::develop(light, noise, 1)));
  const double truth_px2 = blur_px * blur_px + 1.0 / 12;
  INFO("blur " << blur_px << " px: width " << blur.width_px2 << ", moment " << blur.moment_px2
               << " px^2, true " << truth_px2);
  CHECK(blur.width_px2 == Approx(truth_px2).epsilon(0.08));
  CHECK(blur.moment_px2 == Approx(truth_px2).epsilon(0.08));
}

TEST_CASE("sharpening takes from the blur's second moment what its halo has", "[photo_blur]") {
  cv::Mat light = rendered::render(small_dent_under_blur(1.1)), smooth;
  constexpr double amount = 0.3, radius_px = 1.5;
  cv::GaussianBlur(light, smooth, {}, radius_px, radius_px);
  const cv::Mat sharpened = light + amount * (light - smooth);
  const PhotoBlur before = mean_blur(find_tags(rendered::develop(light, noise, 1)));
  const PhotoBlur after = mean_blur(find_tags(rendered::develop(sharpened, noise, 1)));
  // Halos that the paper's white is too bright for are cut off: a fifth of their moment at most.
  const double halo_px2 = amount * radius_px * radius_px;
  CHECK(before.moment_px2 - after.moment_px2 > 0.7 * halo_px2);
  CHECK(before.moment_px2 - after.moment_px2 < 1.1 * halo_px2);
  CHECK(after.moment_px2 < after.width_px2);
}

TEST_CASE("paper that is burnt out does not make the photo look sharper than it is", "[photo_blur]") {
  const double brighter = GENERATE(1.4, 1.8);
  const cv::Mat light = brighter * rendered::render(small_dent_under_blur(1.1));
  const PhotoBlur blur = mean_blur(find_tags(rendered::develop(light, noise, 1)));
  constexpr double truth_px2 = 1.1 * 1.1 + 1.0 / 12;
  INFO("width " << blur.width_px2 << ", moment " << blur.moment_px2 << " px^2, true " << truth_px2);
  // How bright the white would be cannot be told: a third either way.
  CHECK(blur.width_px2 == Approx(truth_px2).epsilon(0.35));
  CHECK(blur.moment_px2 == Approx(truth_px2).epsilon(0.35));
}

TEST_CASE("blur that grows with depth is told where the dent is", "[photo_blur]") {
  const rendered::Scene scene = small_dent_under_blur(0.8);
  MeasureRequest request = rendered::usual_request(scene);
  // A model of the camera alone: pose as rendered, a flat panel.
  PanelConstants constants;
  constants.base_rotation = scene.camera.camera_from_card;
  constants.nominal_focal_px = scene.camera.focal_px;
  constants.centre_u_px = 0.5 * (scene.camera.width_px - 1);
  constants.centre_v_px = 0.5 * (scene.camera.height_px - 1);
  PanelVector parameters = PanelVector::Zero();
  const Eigen::Vector3d translation = -(scene.camera.camera_from_card * scene.camera.centre_mm);
  for (int i = 0; i < 3; ++i) parameters[p_translation + i] = translation[i];
  const PanelModel<double> model(constants, parameters);
  const double sharp_at = 1 / model.depth_mm(60, 50);
  const auto variance_at = [&](double x, double y) {
    return 0.7 + 4e7 * std::pow(1 / model.depth_mm(x, y) - sharp_at, 2);
  };
  std::vector<SeenTag> tags;
  for (const CardTag& t : request.card.tags) {
    const auto p = model.pixel_from_panel(t.x_mm, t.y_mm);
    SeenTag tag;
    tag.corners_px.fill({p.u_px, p.v_px});
    tag.edge_variance_px2 = variance_at(t.x_mm, t.y_mm);
    tag.edge_width_px = edge_width_per_sigma * std::sqrt(tag.edge_variance_px2);
    tags.push_back(tag);
  }
  const double on_average = mean_blur(tags).moment_px2;
  REQUIRE(on_average > 1.5 * variance_at(60, 50));
  CHECK(blur_at(tags, model, 60, 50).moment_px2 == Approx(variance_at(60, 50)).epsilon(0.1));
  CHECK(blur_at(tags, model, 60, 50).width_px2 == Approx(variance_at(60, 50)).epsilon(0.1));
}

TEST_CASE("a blurred photo shows a small dent as wide and as deep as a sharp one", "[photo_blur]") {
  const auto read = [](double blur_px) {
    const rendered::Scene scene = small_dent_under_blur(blur_px);
    const Photo photo = rendered::usual_photo(scene, rendered::render(scene), noise, 1);
    const Reading reading = measure(photo, rendered::usual_request(scene)).reading;
    REQUIRE(reading.dents.size() == 1);
    REQUIRE(reading.dents[0].depth_mm);
    return reading.dents[0];
  };
  const Dent sharp = read(0.6), blurred = read(2);
  // Without the shift of stripes that bend they would differ by 1.4 and 3 per cent.
  CHECK(blurred.diameter_mm.value == Approx(sharp.diameter_mm.value).epsilon(0.006));
  CHECK(blurred.depth_mm->value == Approx(sharp.depth_mm->value).epsilon(0.02));
}
