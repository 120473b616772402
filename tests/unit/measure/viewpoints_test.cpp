// The same dent on the same panel, photographed twice from different places, the board moved between.
#include <cmath>

#include "catch.hpp"
#include "corner_card.hpp"
#include "rendered_photo.hpp"

using namespace ripplegauge;

namespace {

struct Viewpoint {
  double focal_35mm, camera_mm, tilt_deg, azimuth_deg, roll_deg;
  double board_mm, pitch_mm, spin_deg;
};

Reading read_from(const Viewpoint& view, const rendered::Dent& dent, unsigned seed) {
  rendered::Scene scene;
  scene.card = corner_card();
  scene.dents = {dent};
  scene.crown_x = 1 / 2500.0;
  scene.crown_y = 1 / 7000.0;
  scene.crown_xy = 5e-5;
  scene.peel = std::make_shared<rendered::OrangePeel>(5, 3e-4, 2.5);  // the same paint for both
  scene.camera.focal_px = view.focal_35mm / std::hypot(36, 24) * 2000;
  rendered::look_at(scene.camera, 52, 42, view.camera_mm, view.tilt_deg, view.azimuth_deg, view.roll_deg);
  scene.board.pitch_mm = view.pitch_mm;
  rendered::place_board(scene, dent.x_mm, dent.y_mm, view.board_mm, view.spin_deg, 6, -4);
  MeasureRequest request;
  request.card = scene.card;
  request.board_pitch_mm = view.pitch_mm;
  request.board_distance_mm = view.board_mm + 3;  // a tape is held to about that
  Photo photo;
  photo.grey = rendered::develop(rendered::render(scene), 0.008, seed);
  photo.focal_35mm_mm = std::round(view.focal_35mm);
  return measure(photo, request).reading;
}

constexpr Viewpoint steep_and_near{26.3, 235, 42, -110, 7, 210, 12, 25};
constexpr Viewpoint flat_and_far{50.4, 400, 20, -45, -6, 330, 16, -40};

/// Diameters within 2 %, and each depth within the other's interval.
void check_agree(const rendered::Dent& dent) {
  const Reading a = read_from(steep_and_near, dent, 1), b = read_from(flat_and_far, dent, 2);
  INFO((a.refusal ? a.refusal->message : "") << (b.refusal ? b.refusal->message : ""));
  REQUIRE(a.dents.size() == 1);
  REQUIRE(b.dents.size() == 1);
  const Dent &da = a.dents[0], &db = b.dents[0];
  INFO("dent " << dent.length_mm << " x " << dent.width_mm << " mm, " << dent.height_mm << " mm; diameters "
               << da.diameter_mm.value << " and " << db.diameter_mm.value << " mm");
  CHECK(da.diameter_mm.value == Approx(db.diameter_mm.value).epsilon(0.02));
  REQUIRE(da.depth_mm);
  REQUIRE(db.depth_mm);
  CHECK(std::abs(da.depth_mm->value - db.depth_mm->value) <
        std::hypot(da.depth_mm->half_width(), db.depth_mm->half_width()));
  CHECK(da.kind == db.kind);
  CHECK(std::hypot(da.x_mm - db.x_mm, da.y_mm - db.y_mm) < 0.05 * da.diameter_mm.value);
}

rendered::Dent dent_of(double diameter_mm, double height_mm) {
  rendered::Dent dent;
  dent.x_mm = 64;
  dent.y_mm = 52;
  dent.length_mm = 1.1 * diameter_mm;
  dent.width_mm = diameter_mm / 1.1;
  dent.angle_deg = 70;
  dent.height_mm = height_mm;
  return dent;
}

}  // namespace

TEST_CASE("a dent has the same diameter from two viewpoints", "[viewpoints]") {
  check_agree(dent_of(16, -0.12));
}

TEST_CASE("dents of other sizes and shapes have the same diameter from two viewpoints",
          "[viewpoints][slow]") {
  rendered::Dent dent = dent_of(16, -0.12);
  SECTION("small") { dent = dent_of(8, -0.05); }
  SECTION("large") { dent = dent_of(32, -0.4); }
  SECTION("high") { dent = dent_of(18, 0.15); }
  SECTION("flat-bottomed") { dent.power = 3; }
  SECTION("a cosine bell") { dent.form = rendered::Form::bell; }
  SECTION("slanted") {
    dent.form = rendered::Form::slanted;
    dent.lean = 0.4;
  }
  SECTION("elongated") {
    dent.length_mm = 26;
    dent.width_mm = 11;
  }
  check_agree(dent);
}
