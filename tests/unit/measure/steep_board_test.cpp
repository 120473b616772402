// A ladder of boards turned away from square to the mirrored ray, up to 60 degrees about either axis.
#include <cmath>

#include "catch.hpp"
#include "rendered_photo.hpp"

using namespace ripplegauge;

namespace {

rendered::Scene steep_scene(double tilt_u_deg, double tilt_v_deg) {
  rendered::Dent dent;
  dent.x_mm = 62;
  dent.y_mm = 48;
  dent.length_mm = 18;
  dent.width_mm = 16;
  dent.height_mm = -0.15;
  rendered::Scene scene = rendered::usual_scene(dent);
  scene.board.half_across_mm = scene.board.half_along_mm = 700;
  rendered::place_board(scene, dent.x_mm, dent.y_mm, rendered::usual_distance_mm, 0, tilt_u_deg, tilt_v_deg);
  return scene;
}

/// Relative error of the depth, and its stated half-width.
struct DepthError {
  double off = 0, half_width = 0;
};
DepthError depth_error(const Photo& photo, MeasureRequest request, std::optional<double> tape_mm) {
  request.board_distance_mm = tape_mm;
  const Reading reading = measure(photo, request).reading;
  INFO((reading.refusal ? reading.refusal->code + ": " + reading.refusal->message : "measured"));
  REQUIRE(reading.dents.size() == 1);
  REQUIRE(reading.dents[0].depth_mm);
  return {reading.dents[0].depth_mm->value / 0.15 - 1, reading.dents[0].depth_mm->half_width() / 0.15};
}

}  // namespace

TEST_CASE("boards up to 60 degrees off square measure, with a tape, with a wrong one, without", "[steep]") {
  for (const bool about_u : {true, false})
    for (const double tilt_deg : {-60.0, -40.0, -20.0, 0.0, 10.0, 20.0, 30.0, 40.0, 50.0, 60.0}) {
      INFO("tilt " << tilt_deg << (about_u ? " about the stripes" : " across the stripes"));
      const rendered::Scene scene = steep_scene(about_u ? tilt_deg : 0, about_u ? 0 : tilt_deg);
      const Photo photo = rendered::usual_photo(scene, rendered::render(scene), 0.004, 5);
      const MeasureRequest request = rendered::usual_request(scene);
      const DepthError without = depth_error(photo, request, std::nullopt);
      CHECK(std::abs(without.off) < without.half_width);
      const DepthError right = depth_error(photo, request, rendered::usual_distance_mm);
      CHECK(std::abs(right.off) < right.half_width);
      // never worse than without, but for what a second fit rounds
      CHECK(std::abs(right.off) < std::abs(without.off) + 0.1 * without.half_width);
      const DepthError off = depth_error(photo, request, rendered::usual_distance_mm + 10);
      CHECK(std::abs(off.off) < off.half_width);
    }
}
