#include "panel/panel_model.hpp"

#include <numbers>

#include "catch.hpp"
#include "panel/pixel_phase.hpp"

using namespace ripplegauge;

namespace {

/// A camera straight above the card's origin, looking down, x to the right and y up in the card.
struct Scene {
  PanelConstants constants;
  PanelVector parameters = PanelVector::Zero();
  explicit Scene(double camera_mm, double board_mm) {
    constants.base_rotation << 1, 0, 0, 0, -1, 0, 0, 0, -1;
    constants.nominal_focal_px = 3000;
    constants.centre_u_px = 2000;
    constants.centre_v_px = 1500;
    constants.anchor_x_mm = constants.anchor_y_mm = 0;
    constants.pitch_mm = 10;
    constants.nominal_distance_mm = board_mm;
    parameters[p_translation + 2] = camera_mm;
  }
  PanelModel<double> model() const { return {constants, parameters}; }
};

}  // namespace

TEST_CASE("a mirror turned by alpha turns the reflected ray by two alpha", "[mirror]") {
  // Law of reflection (Halliday/Resnick; Hewitt, Conceptual Physics): 2 alpha.
  const Scene scene(500, 400);
  for (const double degrees : {1.0, 5.0, 10.0}) {
    const double alpha = degrees * std::numbers::pi / 180;
    const auto q = scene.model().board_from_panel(0, 0, std::tan(alpha), 0);
    CHECK(std::hypot(q.across_mm, q.along_mm) == Approx(400 * std::tan(2 * alpha)).epsilon(1e-9));
  }
}

TEST_CASE("a convex panel makes the stripes' image small, as a convex mirror does", "[mirror]") {
  // OpenStax University Physics 3, section 2.2, keratometer: object at 12 cm, m = 0.032 -> R = -0.7934 cm
  // (unrounded). Seen from far away, x on the mirror shows x / m on the board.
  Scene scene(1e7, 120);
  scene.constants.nominal_focal_px = 1e9;
  scene.parameters[p_crown] = scene.parameters[p_crown + 1] = 1 / 7.934;
  const double h = 1e-4;
  const auto a = scene.model().board_from_panel(h, 0, 0, 0), b = scene.model().board_from_panel(-h, 0, 0, 0);
  const double magnification = 2 * h / std::hypot(a.across_mm - b.across_mm, a.along_mm - b.along_mm);
  CHECK(magnification == Approx(0.032).epsilon(0.001));  // the source prints two digits; R carries four
}

TEST_CASE("the carrier's period is p / (1 + d/c) on a flat panel, shorter by the crown on a convex one",
          "[mirror]") {
  for (const double crown : {0.0, 5e-4}) {
    Scene scene(600, 300);
    scene.parameters[p_crown] = crown;
    const double h = 0.1;
    const double frequency = (scene.model().phase(h, 0, 0, 0) - scene.model().phase(-h, 0, 0, 0)) / (2 * h);
    CHECK(std::abs(frequency) == Approx((1 + 300.0 / 600 + 2 * 300 * crown) / 10).epsilon(1e-3));
  }
}

TEST_CASE("convention: a slope rising towards +x sends the ray towards -x", "[conventions]") {
  // So a low (rising outwards) and a high move the stripes in opposite directions, and the sign is
  // geometry's.
  const Scene scene(500, 400);
  const double flat = scene.model().board_from_panel(0, 0, 0, 0).across_mm;
  CHECK(scene.model().board_from_panel(0, 0, 0.01, 0).across_mm - flat == Approx(-8).epsilon(0.01));
  CHECK(scene.model().board_from_panel(0, 0, -0.01, 0).across_mm - flat == Approx(8).epsilon(0.01));
}

TEST_CASE(
    "convention: the camera sees card x to the right, y up, z towards it; pixel centres are whole numbers",
    "[conventions]") {
  const Scene scene(600, 300);
  const auto p = scene.model().pixel_from_panel(12, 6);
  CHECK(p.u_px == Approx(2000 + 3000 * 12.0 / 600));
  CHECK(p.v_px == Approx(1500 - 3000 * 6.0 / 600));
}

TEST_CASE("convention: x_camera = camera_from_card x_card", "[conventions]") {
  Scene scene(500, 300);
  // A quarter turn about the line of sight: card x is camera y, card y is camera x.
  scene.constants.base_rotation << 0, 1, 0, 1, 0, 0, 0, 0, -1;
  scene.parameters[p_translation] = 30;
  scene.parameters[p_translation + 1] = -20;
  const auto p = scene.model().pixel_from_panel(12, 6);
  CHECK(p.u_px == Approx(2000 + 3000 * (6 + 30) / 500.0));
  CHECK(p.v_px == Approx(1500 + 3000 * (12 - 20) / 500.0));
  // The camera stands where camera_from_card takes it to zero, in front of the panel.
  CHECK(scene.model().camera_centre().x == Approx(20));
  CHECK(scene.model().camera_centre().y == Approx(-30));
  CHECK(scene.model().camera_centre().z == Approx(500));
}

TEST_CASE("convention: a convex panel falls away on all sides: z = -(kx x^2 + 2 kxy xy + ky y^2) / 2",
          "[conventions]") {
  Scene scene(500, 300);
  scene.parameters[p_crown] = 1e-3;
  scene.parameters[p_crown + 1] = 5e-4;
  scene.parameters[p_crown + 2] = 2e-4;
  const PanelModel<double> model = scene.model();
  CHECK(model.height(40, 0) == Approx(-0.8));
  CHECK(model.height(0, 40) == Approx(-0.4));
  CHECK(model.height(40, 40) == Approx(-0.8 - 0.4 - 0.32));
  const auto pixel = model.pixel_from_panel(40, 20);
  CHECK(model.panel_from_pixel(pixel.u_px, pixel.v_px).z_mm == Approx(model.height(40, 20)).margin(1e-6));
}

TEST_CASE("convention: phases are cycles, one for each light plus dark stripe", "[conventions]") {
  Scene scene(500, 300);
  scene.parameters[p_board_phase] = 0.25;
  const PanelModel<double> model = scene.model();
  CHECK(model.phase(0, 0, 0, 0) == Approx(0.25));  // at the anchor
  for (const double x : {-20.0, 3.0, 35.0}) {
    const double across_mm = model.board_from_panel(x, 7, 0, 0).across_mm;
    CHECK(model.phase(x, 7, 0, 0) - 0.25 == Approx(across_mm / scene.constants.pitch_mm));
    CHECK(std::abs(across_mm) ==
          Approx(std::abs(x) * (1 + 300.0 / 500)));  // the mirror image of a flat panel
  }
}

TEST_CASE("pixel and panel are each other's inverse with lens, tilt and crown", "[panel]") {
  Scene scene(400, 300);
  scene.parameters[0] = 0.5;
  scene.parameters[1] = -0.3;
  scene.parameters[p_k1] = 0.03;
  scene.parameters[p_k2] = -0.01;
  scene.parameters[p_crown] = 1e-3;
  scene.parameters[p_crown + 1] = 5e-4;
  scene.parameters[p_crown + 2] = 1e-4;
  const PanelModel<double> model = scene.model();
  for (double x = -100; x <= 150; x += 50)
    for (double y = -80; y <= 120; y += 40) {
      const auto px = model.pixel_from_panel(x, y);
      const auto p = model.panel_from_pixel(px.u_px, px.v_px);
      CHECK(p.x_mm == Approx(x).margin(1e-4));
      CHECK(p.y_mm == Approx(y).margin(1e-4));
    }
}

TEST_CASE("a pixel's phase and its derivatives are those of the model in duals", "[bundle]") {
  Scene scene(450, 320);
  const std::pair<int, double> off[] = {
      {p_rotation, 0.4},    {p_rotation + 1, -0.3},  {p_rotation + 2, 0.1},
      {p_translation, -60}, {p_translation + 1, 40}, {p_k1, 0.05},
      {p_k2, -0.03},        {p_log_focal, 0.02},     {p_centre, 30},
      {p_centre + 1, -20},  {p_crown, 6e-4},         {p_crown + 1, -2e-4},
      {p_crown + 2, 1e-4},  {p_board_tilt, 0.15},    {p_board_tilt + 1, -0.1},
      {p_board_spin, 0.7},  {p_board_phase, 0.3},    {p_board_distance, 12}};
  for (const auto& [parameter, value] : off) scene.parameters[parameter] = value;
  const PanelModel<double> plain = scene.model();
  const PanelModel<PanelDual> full(scene.constants, scene.parameters);
  const PanelModel<BoardDual> board(scene.constants, scene.parameters);
  const PixelPhase<panel_parameters> full_phase(full, plain);
  const PixelPhase<board_parameters> board_phase(board, plain);
  for (const double u : {100.0, 1300.0, 2000.0, 3900.0})
    for (const double v : {50.0, 1500.0, 2900.0}) {
      CAPTURE(u, v);
      const auto point = full.panel_from_pixel(u, v);
      const PanelDual expected = full.phase(point.x_mm, point.y_mm, 0.0, 0.0), got = full_phase.at(u, v);
      // Both are exact but for rounding and for what the lens's fixed point leaves: derivatives are up to 1e4
      // cycles.
      CHECK(got.value == Approx(expected.value).epsilon(1e-10));
      CHECK((got.gradient - expected.gradient).norm() < 1e-7 * expected.gradient.norm());
      for (int i = 0; i < panel_parameters; ++i)
        CHECK(got.gradient[i] == Approx(expected.gradient[i]).epsilon(1e-6).margin(1e-7));
      const BoardDual on_board = board_phase.at(u, v);
      CHECK((on_board.gradient - expected.gradient.tail<board_parameters>()).norm() <
            1e-10 * expected.gradient.norm());
    }
}

TEST_CASE("the derivatives of a folded panel's phase are those of the model in duals", "[bundle]") {
  Scene scene(450, 320);
  scene.constants.folds = GENERATE(1, 2);
  scene.parameters.segment<fold_parameters>(fold_at(1)) << -0.08, 30, 0.9, 0.6, -1e-4;
  const std::pair<int, double> off[] = {{p_rotation, 0.3},   {p_crown, 3e-4},   {p_board_tilt, 0.15},
                                        {p_board_spin, 0.7}, {p_fold, 0.12},    {p_fold + 1, 15},
                                        {p_fold + 2, 0.6},   {p_fold + 3, 0.9}, {p_fold + 4, 2e-4}};
  for (const auto& [parameter, value] : off) scene.parameters[parameter] = value;
  const PanelModel<PanelDual> full(scene.constants, scene.parameters);
  const PanelModel<double> plain = scene.model();
  const PixelPhase<panel_parameters> phase(full, plain);
  for (const double u : {1500.0, 2000.0, 2080.0, 2120.0, 2150.0, 2400.0})
    for (const double v : {1300.0, 1500.0, 1800.0}) {
      CAPTURE(u, v);
      const auto point = full.panel_from_pixel(u, v);
      const auto back = full.pixel_from_panel(point.x_mm, point.y_mm);
      CHECK(back.u_px.value == Approx(u).margin(1e-6));
      CHECK(back.v_px.value == Approx(v).margin(1e-6));
      const PanelDual expected = full.phase(point.x_mm, point.y_mm, 0.0, 0.0), got = phase.at(u, v);
      CHECK(got.value == Approx(expected.value).epsilon(1e-10));
      for (int i = 0; i < panel_parameters; ++i) {
        CAPTURE(i);
        CHECK(got.gradient[i] ==
              Approx(expected.gradient[i]).epsilon(1e-5).margin(1e-7 * expected.gradient.norm()));
      }
    }
}

TEST_CASE("the derivatives of a bowed board's phase are those of the model in duals", "[bundle]") {
  Scene scene(450, 320);
  const std::pair<int, double> off[] = {{p_rotation, 0.3},      {p_crown, 3e-4},     {p_board_tilt, 0.15},
                                        {p_board_spin, 0.7},    {p_board_bow, 1e-4}, {p_board_bow + 1, -5e-5},
                                        {p_board_bow + 2, 2e-4}};
  for (const auto& [parameter, value] : off) scene.parameters[parameter] = value;
  const PanelModel<PanelDual> full(scene.constants, scene.parameters);
  const PanelModel<double> plain = scene.model();
  const PixelPhase<panel_parameters> phase(full, plain);
  for (const double u : {1500.0, 2000.0, 2400.0})
    for (const double v : {1300.0, 1800.0}) {
      CAPTURE(u, v);
      const auto point = full.panel_from_pixel(u, v);
      const PanelDual expected = full.phase(point.x_mm, point.y_mm, 0.0, 0.0), got = phase.at(u, v);
      CHECK(got.value == Approx(expected.value).epsilon(1e-10));
      // The model takes two steps to the bowed board, the derivatives stand for its very point.
      for (int i = 0; i < panel_parameters; ++i)
        CHECK(got.gradient[i] ==
              Approx(expected.gradient[i]).epsilon(1e-3).margin(1e-5 * expected.gradient.norm()));
    }
}
