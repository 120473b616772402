// The tests' own renderer against OpenCV, and what a reading of its photo says of place, sign and budget.
#include "rendered_photo.hpp"

#include <cmath>
#include <opencv2/calib3d.hpp>
#include <opencv2/core/eigen.hpp>

#include "card/tag_detector.hpp"
#include "catch.hpp"

using namespace ripplegauge;

namespace {

rendered::Dent dent_with(double height_mm) {
  rendered::Dent dent;
  dent.x_mm = 68;
  dent.y_mm = 47;
  dent.length_mm = 17;
  dent.width_mm = 14;
  dent.angle_deg = 110;
  dent.height_mm = height_mm;
  return dent;
}

constexpr double noise = 0.006;

Reading reading_of(const rendered::Scene& scene) {
  return measure(rendered::usual_photo(scene, rendered::render(scene), noise, 1),
                 rendered::usual_request(scene))
      .reading;
}

bool holds(const Quantity& quantity, double truth) { return quantity.low < truth && truth < quantity.high; }

/// JCGM 100:2008, 5.1.2 and 6.2.1: the terms, relative, add in quadrature, and the interval is twice their
/// sum to each side of the value's logarithm.
void check_budget(const std::vector<BudgetTerm>& budget, const Quantity& quantity,
                  double BudgetTerm::*percent) {
  double squares = 0;
  for (const BudgetTerm& term : budget) {
    INFO(term.name);
    CHECK(term.*percent >= 0);
    squares += std::pow(term.*percent / 100, 2);
  }
  CHECK(std::log(quantity.high / quantity.value) == Approx(2 * std::sqrt(squares)).epsilon(1e-6));
  CHECK(std::log(quantity.value / quantity.low) == Approx(2 * std::sqrt(squares)).epsilon(1e-6));
}

}  // namespace

TEST_CASE("the renderer's camera is OpenCV's", "[rendered]") {
  rendered::Scene scene = rendered::usual_scene(dent_with(-0.1));
  scene.crown_x = scene.crown_y = 0;
  scene.camera.k1 = 0.03;
  scene.camera.k2 = -0.01;
  scene.camera.centre_off_u_px = 12;
  scene.camera.centre_off_v_px = -7;
  const cv::Matx33d k(scene.camera.focal_px, 0, 0.5 * 1599 + 12, 0, scene.camera.focal_px, 0.5 * 1199 - 7, 0,
                      0, 1);
  cv::Mat rotation, turn;
  cv::eigen2cv(scene.camera.camera_from_card, rotation);
  cv::Rodrigues(rotation, turn);
  const Eigen::Vector3d t = -scene.camera.camera_from_card * scene.camera.centre_mm;
  const std::vector<cv::Point3d> points = {{0, 0, 0}, {100, 0, 0}, {0, 75, 0}, {90, 70, 0}};
  std::vector<cv::Point2d> pixels;
  cv::projectPoints(points, turn, cv::Vec3d(t.x(), t.y(), t.z()), k, cv::Vec4d(0.03, -0.01, 0, 0), pixels);
  for (std::size_t i = 0; i < points.size(); ++i)
    CHECK(cv::norm(rendered::pixel_of(scene, points[i].x, points[i].y) - pixels[i]) < 1e-6);
}

TEST_CASE("convention: pixel centres are whole numbers: tags are found where they were drawn",
          "[conventions][rendered]") {
  const rendered::Scene scene = rendered::usual_scene(dent_with(-0.1));
  const std::vector<SeenTag> tags = find_tags(rendered::develop(rendered::render(scene), noise, 1));
  REQUIRE(tags.size() == 8);
  for (const SeenTag& tag : tags) {
    const CardTag& drawn = scene.card.tags.at(static_cast<std::size_t>(tag.id));
    const double half = 0.5 * scene.card.tag_side_mm;
    // top-left, top-right, bottom-right, bottom-left of the print, its top towards +y
    const double x[] = {-half, half, half, -half}, y[] = {half, half, -half, -half};
    for (std::size_t k = 0; k < 4; ++k)
      CHECK(cv::norm(tag.corners_px[k] - rendered::pixel_of(scene, drawn.x_mm + x[k], drawn.y_mm + y[k])) <
            0.12);
  }
}

TEST_CASE("convention: places are told in the card's frame, in true millimetres", "[conventions][rendered]") {
  // Origin at the centre of tag 0, x along the long arm, y along the short one, whatever the print's scale.
  rendered::Scene scene = rendered::usual_scene(dent_with(-0.1));
  CHECK(scene.card.tags[0].x_mm == 0);
  CHECK(scene.card.tags[0].y_mm == 0);
  CHECK(scene.card.tags[4].x_mm == 100);
  CHECK(scene.card.tags[7].y_mm == 75);
  scene.card_scale = 0.96;
  MeasureRequest request = rendered::usual_request(scene);
  request.bar_length_mm = 96;
  const Reading reading =
      measure(rendered::usual_photo(scene, rendered::render(scene), noise, 1), request).reading;
  REQUIRE(reading.dents.size() == 1);
  const Dent& dent = reading.dents[0];
  CHECK(dent.x_mm == Approx(68).margin(0.2));
  CHECK(dent.y_mm == Approx(47).margin(0.2));
  CHECK(dent.angle_deg == Approx(110).margin(2));  // from +x towards +y
  CHECK(holds(dent.diameter_mm, std::sqrt(17.0 * 14.0)));
  CHECK(holds(dent.length_mm, 17));
  CHECK(holds(dent.width_mm, 14));
  CHECK(reading.setup.crown_x_per_m->value == Approx(1 / 4.0).margin(0.1));  // convex is positive
}

TEST_CASE("low is low and high is high, in a budget that adds up to the interval", "[rendered][budget]") {
  for (const double height_mm : {-0.08, 0.08}) {
    const Reading reading = reading_of(rendered::usual_scene(dent_with(height_mm)));
    REQUIRE(reading.dents.size() == 1);
    const Dent& dent = reading.dents[0];
    CHECK(dent.kind == (height_mm < 0 ? Kind::low : Kind::high));
    REQUIRE(dent.depth_mm);
    CHECK(holds(*dent.depth_mm, 0.08));
    REQUIRE(reading.budgets.size() == 1);
    check_budget(reading.budgets[0], dent.diameter_mm, &BudgetTerm::diameter_percent);
    check_budget(reading.budgets[0], *dent.depth_mm, &BudgetTerm::depth_percent);
  }
}
