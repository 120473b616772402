#include "severity/sheet_metal.hpp"

#include <cmath>

#include "catch.hpp"

using namespace ripplegauge;

namespace {

/// A circular arc as a measured section. It is lowered so that none of it counts as outside of the spot.
std::vector<ProfilePoint> arc_section(double radius_mm, double sagitta_mm, int pieces) {
  const double half_angle = std::acos(1 - sagitta_mm / radius_mm);
  std::vector<ProfilePoint> section;
  for (int i = 0; i <= pieces; ++i) {
    const double angle = half_angle * (2.0 * i / pieces - 1);
    section.push_back({radius_mm * std::sin(angle), -sagitta_mm - radius_mm * std::cos(angle)});
  }
  return section;
}

/// A Gaussian low, fine enough for its derivatives.
struct Gaussian {
  double sigma_mm, depth_mm;
  double height(double x) const { return -depth_mm * std::exp(-0.5 * x * x / (sigma_mm * sigma_mm)); }
};

Quantity exact(double value) { return {value, value, value}; }

}  // namespace

TEST_CASE("stretch of a measured section agrees with handbook arcs", "[sheet_metal]") {
  // Machinery's Handbook, 31st ed., p. 50: R 12, depth 2 has chord 13.27 and arc 14.06
  // (recomputed 13.2665, 14.0565); MatheAss help, circular sections: chord 21, sagitta 6, r 12.1875 has
  // arc 25.308373. A polygon of 2000 sides is shorter than its arc by less than 1e-6 of it.
  CHECK(profile_stretch(arc_section(12, 2, 2000)) == Approx(14.0565 / 13.2665 - 1).margin(1e-5));
  CHECK(profile_stretch(arc_section(12.1875, 6, 2000)) == Approx(25.308373 / 21 - 1).margin(1e-6));
}

TEST_CASE("a section too short to say anything has no stretch", "[sheet_metal]") {
  CHECK(std::isnan(profile_stretch({})));
  CHECK(std::isnan(profile_stretch({{0, 0}, {1, 0}, {2, 0}})));
  CHECK(std::isnan(profile_stretch({{0, -1}, {1, 0}, {2, 0}})));
}

TEST_CASE("arc of a parabola", "[sheet_metal]") {
  // Closed form, PlanetMath "arc length of parabola"; values recomputed, to the digits given.
  CHECK(parabola_arc_mm(48, 2) == Approx(48.22131).margin(5e-6));
  CHECK(parabola_arc_mm(100, 2) == Approx(100.10656).margin(5e-6));
  CHECK(parabola_arc_mm(30, 1) == Approx(30.08865).margin(5e-6));
  // half of it, 24 long and 2 high: 24.11 in handbooks (from memory)
  CHECK(0.5 * parabola_arc_mm(48, 2) == Approx(24.11).margin(0.005));
  CHECK(parabola_arc_mm(20, 0) == 20);
  // its series c (1 + 8/3 (h/c)² - 32/5 (h/c)⁴): one term 48.22222, two 48.22130
  const double share = std::pow(2.0 / 48, 2);
  CHECK(48 * (1 + 8.0 / 3 * share) == Approx(48.22222).margin(5e-6));
  CHECK(48 * (1 + 8.0 / 3 * share - 6.4 * share * share) == Approx(parabola_arc_mm(48, 2)).margin(2e-5));
}

TEST_CASE("the short form of the parabola's arc meets the long one", "[sheet_metal]") {
  // at a = 4 h / c = 1e-3, where the function changes over; both are good to 1e-14 there
  CHECK(parabola_arc_mm(1, 0.2499e-3) == Approx(parabola_arc_mm(1, 0.2501e-3)).epsilon(1e-9));
  CHECK(parabola_arc_mm(1, 0.2499e-3) < parabola_arc_mm(1, 0.2501e-3));
}

TEST_CASE("yield strain from strength and modulus", "[sheet_metal]") {
  // EN 10130 (DC04 210 MPa), EN 485-2 (AA6016-T4 80 to 140 MPa); moduli from Halliday, table 13-1
  CHECK(yield_strain(210, 200) == Approx(0.00105));  // 0.105 %
  CHECK(yield_strain(80, 70) == Approx(0.0011).margin(0.00005));
  CHECK(yield_strain(140, 70) == Approx(0.0020));
}

TEST_CASE("bending strain is thickness times curvature over two", "[sheet_metal]") {
  CHECK(bending_strain(0.7, 14) == Approx(0.025));
}

TEST_CASE("estimates are those of a Gaussian spot and their intervals hold a parabola", "[sheet_metal]") {
  const Gaussian spot{5, 0.3};
  const double width_mm = 4.291932 * spot.sigma_mm;  // full width at a tenth, 2 sqrt(2 ln 10) sigma

  const Quantity radius = estimated_bend_radius_mm(exact(width_mm), exact(spot.depth_mm));
  const double step = 1e-3, end = 0.5 * bend_length_mm;
  const double slope_there = (spot.height(end + step) - spot.height(end - step)) / (2 * step);
  CHECK(radius.value == Approx(bend_length_mm / (2 * std::abs(slope_there))).epsilon(1e-4));
  CHECK(radius.high > width_mm * width_mm / (8 * spot.depth_mm));  // parabola
  CHECK(radius.low < radius.value);

  const Quantity slope = estimated_max_slope_mrad(exact(width_mm), exact(spot.depth_mm));
  const double steepest =
      (spot.height(spot.sigma_mm + step) - spot.height(spot.sigma_mm - step)) / (2 * step) * 1000;
  CHECK(slope.value == Approx(steepest).epsilon(1e-4));
  CHECK(slope.high == Approx(4000 * spot.depth_mm / width_mm).epsilon(1e-4));

  const Quantity stretch = estimated_stretch({width_mm, width_mm - 1, width_mm + 1}, {0.3, 0.25, 0.35});
  CHECK(stretch.value == Approx(parabola_arc_mm(width_mm, 0.3) / width_mm - 1));
  CHECK(stretch.low < stretch.value);
  CHECK(stretch.high > stretch.value);
}
