// The board's pose from tags that the panel mirrors: made by the mirror model itself, found again from noisy
// corners.
#include <numbers>
#include <random>

#include "catch.hpp"
#include "corner_card.hpp"
#include "panel/bundle.hpp"

using namespace ripplegauge;

namespace {

const std::vector<BoardTag> six_tags{{40, -250, -180, 40}, {41, -250, 0, 40}, {42, -250, 180, 40},
                                     {43, 250, -180, 40},  {44, 250, 0, 40},  {45, 250, 180, 40}};

struct Scene {
  BundleProblem problem;
  PanelVector truth = PanelVector::Zero();
  std::vector<BoardCorner> seen;
  double distance_mm = 0, tilt_deg = 0;  ///< at the anchor
};

/// The pixel at which a point of the board shows: Newton's steps on the panel.
std::array<double, 2> pixel_of(const PanelModel<double>& model, double board_x, double board_y) {
  double x = 0, y = 0;
  for (int i = 0; i < 50; ++i) {
    constexpr double h = 0.5;
    const auto at = model.board_frame_from_panel(x, y);
    const auto right = model.board_frame_from_panel(x + h, y), up = model.board_frame_from_panel(x, y + h);
    Eigen::Matrix2d jacobian;
    jacobian << (right.x_mm - at.x_mm) / h, (up.x_mm - at.x_mm) / h, (right.y_mm - at.y_mm) / h,
        (up.y_mm - at.y_mm) / h;
    const Eigen::Vector2d step = jacobian.inverse() * Eigen::Vector2d(board_x - at.x_mm, board_y - at.y_mm);
    x += step.x();
    y += step.y();
  }
  const auto pixel = model.pixel_from_panel(x, y);
  return {pixel.u_px, pixel.v_px};
}

Scene make_scene(unsigned seed, double noise_px, const std::vector<BoardTag>& visible) {
  Scene scene;
  std::mt19937 random(seed);
  std::normal_distribution<double> normal;
  PanelConstants& c = scene.problem.constants;
  c.nominal_focal_px = 3000;
  c.centre_u_px = 1999.5;
  c.centre_v_px = 1499.5;
  c.pitch_mm = 16;
  c.nominal_distance_mm = 300;
  c.anchor_x_mm = 60;
  c.anchor_y_mm = 45;
  c.base_rotation = (Eigen::AngleAxisd(std::numbers::pi - 0.5, Eigen::Vector3d::UnitX()) *
                     Eigen::AngleAxisd(0.1 * normal(random), Eigen::Vector3d::UnitZ()))
                        .toRotationMatrix();
  PanelVector& p = scene.truth;
  p[3] = -50;
  p[4] = 20;
  p[5] = 400;
  p[p_crown] = 3e-4;
  p[p_crown + 1] = 1e-4;
  p[p_board_tilt] = 0.12 * normal(random);
  p[p_board_tilt + 1] = 0.12 * normal(random);
  p[p_board_spin] = std::uniform_real_distribution(-std::numbers::pi, std::numbers::pi)(random);
  p[p_board_distance] = 40 * normal(random);
  p[p_board_shift] = 40 * normal(random);
  p[p_board_shift + 1] = 30 * normal(random);
  const PanelModel<double> model(c, p);
  const auto view = model.board_view(c.anchor_x_mm, c.anchor_y_mm);
  scene.distance_mm = view.distance_mm;
  scene.tilt_deg = std::acos(view.cos_tilt) * 180 / std::numbers::pi;
  scene.problem.card = corner_card();
  for (const CardTag& tag : scene.problem.card.tags) {
    SeenTag seen;
    seen.id = tag.id;
    const auto corners = tag_corners_mm(tag, scene.problem.card.tag_side_mm, 1.0, 0.0);
    for (std::size_t k = 0; k < 4; ++k) {
      const auto pixel = model.pixel_from_panel(corners[k][0], corners[k][1]);
      seen.corners_px[k] = {pixel.u_px + 0.05 * normal(random), pixel.v_px + 0.05 * normal(random)};
    }
    scene.problem.tags.push_back(seen);
  }
  scene.problem.board_tags = six_tags;
  const double side[4] = {-1, 1, 1, -1}, up[4] = {1, 1, -1, -1};
  for (const BoardTag& tag : visible)
    for (std::size_t k = 0; k < 4; ++k) {
      const double x = tag.x_mm + 0.5 * side[k] * tag.side_mm, y = tag.y_mm + 0.5 * up[k] * tag.side_mm;
      const auto [u, v] = pixel_of(model, x, y);
      // a pixel is about 0.3 mm on this board
      scene.seen.push_back(
          {tag.id, u + noise_px * normal(random), v + noise_px * normal(random), x, y, 0.3 * noise_px});
    }
  scene.problem.priors.board_distance_mm = 150;
  return scene;
}

/// Distance and tilt as found, with the distance's standard uncertainty.
struct Found {
  double distance_mm = 0, distance_uncertainty_mm = 0, tilt_deg = 0;
};

std::optional<Found> find(Scene& scene) {
  const auto card = start_bundle(scene.problem);
  REQUIRE(card);
  const auto posed = start_board(scene.problem, scene.seen, card->parameters);
  if (!posed) return std::nullopt;
  const BundleResult fit = fit_bundle(scene.problem, *posed, BundleFreedom::everything);
  const PanelModel<double> model(scene.problem.constants, fit.parameters);
  const auto view =
      model.board_view(scene.problem.constants.anchor_x_mm, scene.problem.constants.anchor_y_mm);
  return Found{view.distance_mm, std::sqrt(fit.covariance(p_board_distance, p_board_distance)),
               std::acos(view.cos_tilt) * 180 / std::numbers::pi};
}

}  // namespace

TEST_CASE("distance and tilt of a tagged board come from its reflection alone", "[board]") {
  double chi_square = 0;
  constexpr int scenes = 12;
  for (unsigned seed = 1; seed <= scenes; ++seed) {
    Scene scene = make_scene(seed, 0.3, six_tags);
    const auto found = find(scene);
    INFO("seed " << seed << ", true " << scene.distance_mm << " mm, " << scene.tilt_deg << " deg");
    REQUIRE(found);
    CHECK(found->distance_mm ==
          Approx(scene.distance_mm).epsilon(0.03));  // the focal length is known to 1.2 %
    CHECK(found->tilt_deg == Approx(scene.tilt_deg).margin(1.5));
    CHECK(found->distance_uncertainty_mm < 0.02 * scene.distance_mm);
    chi_square += std::pow((found->distance_mm - scene.distance_mm) / found->distance_uncertainty_mm, 2);
  }
  // The camera here has just the focal length that is expected of it, so the scatter is less than what is
  // stated; twelve squares of standard normal numbers exceed 26 once in a hundred.
  CHECK(chi_square < 26);
}

TEST_CASE("two tags do, one does not", "[board]") {
  Scene two = make_scene(3, 0.3, {six_tags[1], six_tags[5]});
  const auto found = find(two);
  REQUIRE(found);
  CHECK(found->distance_mm == Approx(two.distance_mm).epsilon(0.05));
  Scene one = make_scene(3, 0.3, {six_tags[1]});
  CHECK_FALSE(find(one));
  CHECK(one.problem.board_corners.empty());
  CHECK(one.problem.constants.nominal_distance_mm == 300);
}

TEST_CASE("a tag decoded where there is none is left out", "[board]") {
  Scene scene = make_scene(5, 0.3, {six_tags[0], six_tags[1], six_tags[3], six_tags[4], six_tags[5]});
  std::vector<BoardCorner> stray(scene.seen.end() - 4, scene.seen.end());
  for (BoardCorner& corner : stray) {
    corner.tag_id = 42;
    corner.x_mm -= 500;
    corner.u_px -= 250;
  }
  scene.seen.insert(scene.seen.end(), stray.begin(), stray.end());
  const auto found = find(scene);
  REQUIRE(found);
  CHECK(found->distance_mm == Approx(scene.distance_mm).epsilon(0.03));
  CHECK(std::none_of(scene.problem.board_corners.begin(), scene.problem.board_corners.end(),
                     [](const BoardCorner& c) { return c.tag_id == 42; }));
}
