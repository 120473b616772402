// The quick look before the measuring: what it says of good photos, and what it advises for poor ones.
#include "ripplegauge/measure/photo_check.hpp"

#include "altered_photos.hpp"
#include "catch.hpp"
#include "measure/geometry_uncertainty.hpp"
#include "ripplegauge/core/errors.hpp"

using namespace ripplegauge;

namespace {

const ShotAdvice* advice(const PhotoCheck& check, const std::string& code) {
  for (const ShotAdvice& a : check.advice)
    if (a.code == code) return &a;
  return nullptr;
}

/// All advice in one line, for messages.
std::string codes(const PhotoCheck& check) {
  std::string all = check.refusal ? "refused " + check.refusal->code + ":" : "ready:";
  for (const ShotAdvice& a : check.advice) all += " " + a.code;
  return all;
}

}  // namespace

TEST_CASE("a good photo is ready, and the check tells what the measurement starts from", "[photo_check]") {
  for (const char* name : {"low-dark", "high-dark", "no-dent"}) {
    const Sample s = sample(name);
    const PhotoCheck check = check_photo(s.photo, s.request);
    INFO(name << " " << codes(check));
    CHECK_FALSE(check.refusal);
    CHECK(check.advice.empty());
    CHECK(check.disturbances.size() == s.dents.size());
    for (const SeenDisturbance& d : check.disturbances) {
      CHECK(d.measurable);
      CHECK(std::hypot(d.x_mm - s.dents[0]["rim"]["cx"].get<double>(),
                       d.y_mm - s.dents[0]["rim"]["cy"].get<double>()) < 5);
    }
    CHECK(check.figures.tags_on_card == 8);
    CHECK(check.setup.tags_found == 8);
    // Period in the photo over period on the panel is the scale across the stripes: foreshortened by the tilt
    // at most.
    REQUIRE(check.figures.stripe_period_px);
    REQUIRE(check.setup.stripe_period_mm);
    const double scale = *check.figures.stripe_period_px / *check.setup.stripe_period_mm;
    CHECK(scale < 1.3 * check.setup.pixels_per_mm);
    CHECK(scale > 0.6 * check.setup.pixels_per_mm);
    CHECK(*check.figures.stripe_pairs > 8);
    CHECK(*check.figures.clipped_share < 0.1);
    CHECK(*check.figures.surroundings_striped > 0.3);
    // A Gaussian 10 mm wide at a tenth of its depth: depth 1.6487 sigma x slope, sigma 10 / 4.29193 mm.
    CHECK(*check.figures.visible_depth_mm ==
          Approx(1e-3 * *check.setup.visible_slope_mrad * 1.6487 * 10 / 4.29193).epsilon(1e-3));
  }
}

TEST_CASE("check and measure look at the same: their set-ups agree where no dent moves the anchor",
          "[photo_check]") {
  const Sample s = sample("no-dent");
  const Setup checked = check_photo(s.photo, s.request).setup,
              measured = measure(s.photo, s.request).reading.setup;
  CHECK(checked.board_distance_mm->value == measured.board_distance_mm->value);
  CHECK(*checked.visible_slope_mrad == *measured.visible_slope_mrad);
  CHECK(*checked.judged == *measured.judged);
}

TEST_CASE("stripes run as the photo shows them", "[photo_check]") {
  const Sample s = sample("low-light");
  const double direction_deg = *check_photo(s.photo, s.request).figures.stripe_direction_deg;
  Photo turned = with_grey(s.photo, {});
  cv::rotate(s.photo.grey, turned.grey, cv::ROTATE_90_CLOCKWISE);
  CHECK(direction_deg == Approx(21).margin(3));  // up to the right, by a protractor on the screen
  CHECK(*check_photo(turned, s.request).figures.stripe_direction_deg == Approx(direction_deg - 90).margin(1));
}

TEST_CASE("how far to go nearer follows from the pixels in a millimetre", "[photo_check]") {
  const Sample s = sample("low-dark");
  const Photo small = shrunk(s.photo, 0.4);  // as if seen from 2.5 times as far by a lens as long
  const PhotoCheck check = check_photo(small, s.request);
  INFO(codes(check));
  CHECK_FALSE(check.refusal);
  REQUIRE(check.setup.pixels_per_mm < 4);
  const ShotAdvice* said = advice(check, "closer");
  REQUIRE((said != nullptr || advice(check, "full_resolution") != nullptr));
  // To 4 pixels a millimetre the distance shrinks by what is missing; nearer than 20 cm only more pixels
  // help.
  const double wanted_mm = check.setup.camera_distance_mm->value * check.setup.pixels_per_mm / 4;
  CHECK((said != nullptr) == (wanted_mm >= 200));
}

TEST_CASE("burnt-out stripes and weak ones are told with their share and contrast", "[photo_check]") {
  const Sample s = sample("low-dark");
  Photo bright = shrunk(s.photo, 0.5);
  bright.grey.convertTo(bright.grey, -1, 2.2);
  const PhotoCheck burnt = check_photo(bright, s.request);
  INFO(codes(burnt));
  REQUIRE(advice(burnt, "expose_less") != nullptr);
  CHECK(*burnt.figures.clipped_share > 0.3);

  Photo faint = shrunk(s.photo, 0.5);
  cv::Mat card = faint.grey.clone();
  faint.grey.convertTo(faint.grey, -1, 0.05, 90);
  const Places places(s.photo, s.request);  // of the full photo: half of it here
  for (const std::vector<cv::Point2d>& arm :
       {std::vector<cv::Point2d>{{-14, -14}, {112, -14}, {112, 14}, {-14, 14}},
        std::vector<cv::Point2d>{{-14, -14}, {14, -14}, {14, 87}, {-14, 87}}}) {
    std::vector<cv::Point> outline = places.outline(arm);
    for (cv::Point& p : outline) p /= 2;
    cv::Mat whole;
    card.convertTo(whole, CV_32F);
    blend(faint, soft_mask(faint, outline), whole);
  }
  const PhotoCheck weak = check_photo(faint, s.request);
  INFO(codes(weak));
  CHECK((weak.refusal || advice(weak, "more_light_on_board") != nullptr));
}

TEST_CASE("a bend that card and stripes cannot have seen counts with its distance from the card",
          "[photo_check]") {
  PanelVector p = PanelVector::Zero();
  CHECK(unseen_turn_rad(p, 60, 50, 40) == 0);
  p[p_crown] = p[p_crown + 1] = 1e-3;  // a radius of 1 m all round
  CHECK(unseen_turn_rad(p, 60, 50, 30) == Approx(0.01));
  CHECK(unseen_turn_rad(p, 60, 50, 0) == 0);
  p[p_crown] = 0;  // straight along x
  CHECK(unseen_turn_rad(p, 60, 0, 30) == 0);
}

TEST_CASE("a request that makes no sense is wrong use", "[photo_check]") {
  Sample s = sample("low-dark");
  s.request.board_pitch_mm = -1;
  CHECK_THROWS_AS(check_photo(s.photo, s.request), UsageError);
}
