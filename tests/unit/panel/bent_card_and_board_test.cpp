// Cards whose ends curl up and boards that bow, made by the mirror model itself and found again from noisy
// corners and phases.
#include <numbers>
#include <random>

#include "catch.hpp"
#include "corner_card.hpp"
#include "panel/bundle.hpp"

using namespace ripplegauge;

namespace {

BundleProblem problem_of(const PanelVector& truth, unsigned seed) {
  BundleProblem problem;
  PanelConstants& c = problem.constants;
  c.nominal_focal_px = 3000;
  c.centre_u_px = 1999.5;
  c.centre_v_px = 1499.5;
  c.pitch_mm = 16;
  c.nominal_distance_mm = 300;
  c.base_rotation = Eigen::AngleAxisd(std::numbers::pi - 0.6, Eigen::Vector3d::UnitX()).toRotationMatrix();
  const PanelModel<double> model(c, truth);
  std::mt19937 random(seed);
  std::normal_distribution<double> normal;
  problem.card = corner_card();
  for (const CardTag& tag : problem.card.tags) {
    SeenTag seen;
    seen.id = tag.id;
    const auto corners = tag_corners_mm(tag, problem.card.tag_side_mm, 1.0, 0.0);
    for (std::size_t k = 0; k < 4; ++k) {
      const auto pixel = model.pixel_from_card(corners[k][0], corners[k][1], {114, 89});
      seen.corners_px[k] = {pixel.u_px + 0.05 * normal(random), pixel.v_px + 0.05 * normal(random)};
    }
    problem.tags.push_back(seen);
  }
  for (double x = -40; x < 160; x += 8)
    for (double y = 20; y < 140; y += 8) {
      const auto pixel = model.pixel_from_panel(x, y);
      problem.samples.push_back({pixel.u_px, pixel.v_px, model.phase(x, y, 0, 0) + 0.003 * normal(random)});
    }
  return problem;
}

PanelVector usual_scene() {
  PanelVector p = PanelVector::Zero();
  p[p_translation] = -50;
  p[p_translation + 1] = 20;
  p[p_translation + 2] = 450;
  p[p_crown] = 3e-4;
  p[p_crown + 1] = 1e-4;
  p[p_board_tilt] = 0.1;
  p[p_board_spin] = 0.4;
  return p;
}

double off_in_sigmas(const BundleResult& found, const PanelVector& truth, int parameter) {
  return (found.parameters[parameter] - truth[parameter]) / std::sqrt(found.covariance(parameter, parameter));
}

}  // namespace

TEST_CASE("a card whose end curls up does not bend the panel", "[bundle]") {
  for (const int arm : {0, 1})
    for (const double lift_mm : {0.8, 1.5}) {
      CAPTURE(arm, lift_mm);
      PanelVector truth = usual_scene();
      truth[p_lift + arm] = lift_mm;
      BundleProblem problem = problem_of(truth, 1);
      problem.samples.clear();
      const auto found = start_bundle(problem);
      REQUIRE(found);
      CHECK(found->tag_rms_px < 0.1);
      CHECK(std::abs(off_in_sigmas(*found, truth, p_crown + arm)) < 3);
      CHECK(found->parameters[p_lift + arm] == Approx(lift_mm).epsilon(0.3));
    }
}

TEST_CASE("a flat card stays flat, and never goes below the panel", "[bundle]") {
  const PanelVector truth = usual_scene();
  BundleProblem problem = problem_of(truth, 2);
  const auto found = start_bundle(problem);
  REQUIRE(found);
  for (const int arm : {0, 1}) CHECK(std::abs(found->parameters[p_lift + arm]) < 0.05);
}

TEST_CASE("a board that bows is found with its bow, and its distance with it", "[bundle]") {
  for (const double bow_per_mm : {-4e-4, 4e-4}) {
    CAPTURE(bow_per_mm);
    PanelVector truth = usual_scene();
    truth[p_board_bow + 2] = bow_per_mm;  // across the stripes: 8 mm over 400
    BundleProblem problem = problem_of(truth, 3);
    PanelVector start = truth;
    start[p_board_bow + 2] = 0;
    const BundleNoise noise{.corner_px = 0.05, .phase_cycles = 0.003};
    const BundleResult found = fit_bundle(problem, start, BundleFreedom::everything, noise);
    CHECK(found.phase_mad_cycles < 0.005);
    for (const int parameter : {int{p_board_distance}, p_board_bow + 2, int{p_crown}, p_crown + 1}) {
      CAPTURE(parameter);
      CHECK(std::abs(off_in_sigmas(found, truth, parameter)) < 3);
    }

    problem.priors.board_bow_per_mm = 1e-8;
    const BundleResult held_flat = fit_bundle(problem, start, BundleFreedom::everything, noise);
    CHECK(std::abs(off_in_sigmas(held_flat, truth, p_board_distance)) > 3);
  }
}
