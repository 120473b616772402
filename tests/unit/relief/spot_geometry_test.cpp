#include "relief/spot_geometry.hpp"

#include <cmath>
#include <numbers>

#include "catch.hpp"

using namespace ripplegauge;

namespace {

template <class F>
Relief map_of(double reach, int cells, const F& f) {
  Relief m;
  m.columns = m.rows = cells;
  m.step_mm = 2 * reach / (cells - 1);
  m.x0_mm = m.y0_mm = -reach;
  m.height_mm.resize(static_cast<std::size_t>(cells) * cells);
  for (int r = 0; r < cells; ++r)
    for (int c = 0; c < cells; ++c)
      m.at(r, c) = static_cast<float>(f(-reach + c * m.step_mm, -reach + r * m.step_mm));
  return m;
}

}  // namespace

TEST_CASE("a Gaussian's widths at a tenth and at half", "[geometry]") {
  // Full width at tenth maximum 4.291932 sigma = 2 sqrt(2 ln 10), at half maximum 2.354820 sigma = 2 sqrt(2
  // ln 2).
  const double sigma = 3, depth = 0.2;
  const SpotGeometry g = measure_spot(map_of(12, 161, [&](double x, double y) {
    return -depth * std::exp(-(x * x + y * y) / (2 * sigma * sigma));
  }));
  CHECK(g.kind == Kind::low);
  CHECK(g.diameter_mm == Approx(4.291932 * sigma).epsilon(5e-4));  // cells of 0.15 mm
  CHECK(g.half_diameter_mm == Approx(2.354820 * sigma).epsilon(5e-4));
  CHECK(g.depth_mm == Approx(depth).epsilon(1e-6));
  CHECK(g.max_slope == Approx(depth / sigma * std::exp(-0.5)).epsilon(2e-3));
  CHECK(g.max_curvature == Approx(depth / (sigma * sigma)).epsilon(5e-3));
}

TEST_CASE("a bend averaged over a length is the change of slope over it", "[geometry]") {
  const double length = 5;
  // A Gaussian: its slope one half length from the middle, on both sides.
  const double sigma = 4, depth = 0.2;
  const Relief map = map_of(20, 201, [&](double x, double y) {
    return -depth * std::exp(-((x - 1) * (x - 1) + y * y) / (2 * sigma * sigma));
  });
  const SpotGeometry spot = measure_spot(map);
  const double u = 0.5 * length / sigma;
  CHECK(averaged_curvature(map, spot, length) ==
        Approx(2 * depth / sigma * u * std::exp(-0.5 * u * u) / length).epsilon(0.01));
  CHECK(spot.deepest.x_mm == Approx(1).margin(map.step_mm));
  CHECK(spot.deepest.y_mm == Approx(0).margin(map.step_mm));
  const auto section = section_through(map, spot.deepest, 90, 10, 21);
  REQUIRE(section.size() == 21);
  CHECK(section[10].height_mm == Approx(-depth).epsilon(1e-3));
  CHECK(section[0].along_mm == -10);
}

TEST_CASE("a tip that no stripe resolves bends no more on average than the slope changes across it",
          "[geometry]") {
  // A cone of slope 0.02: however sharp its tip, the slope changes by 0.04 across it.
  const auto cone = [](int cells) {
    const Relief map =
        map_of(15, cells, [](double x, double y) { return std::min(0.0, 0.02 * std::hypot(x, y) - 0.1); });
    return averaged_curvature(map, measure_spot(map), 5);
  };
  CHECK(cone(301) == Approx(0.04 / 5).epsilon(0.02));
  CHECK(cone(151) == Approx(cone(601)).epsilon(0.02));
}

TEST_CASE("an elliptic spot's length, width and angle", "[geometry]") {
  const double a = 8, b = 3, turn = 30 * std::numbers::pi / 180;
  const SpotGeometry g = measure_spot(map_of(20, 321, [&](double x, double y) {
    const double u = (std::cos(turn) * x + std::sin(turn) * y) / a,
                 v = (std::cos(turn) * y - std::sin(turn) * x) / b;
    return 0.1 * std::pow(0.1, u * u + v * v);  // the tenth contour is the ellipse itself
  }));
  CHECK(g.kind == Kind::high);
  CHECK(g.length_mm == Approx(2 * a).epsilon(1e-3));
  CHECK(g.width_mm == Approx(2 * b).epsilon(2e-3));
  CHECK(g.diameter_mm == Approx(2 * std::sqrt(a * b)).epsilon(1e-3));
  CHECK(g.angle_deg == Approx(30).margin(0.1));
  CHECK_FALSE(g.touches_border);
}

TEST_CASE("the volume of a spherical segment", "[geometry]") {
  // Machinery's Handbook 31e p. 91: h 50, base chord 125 mm -> 372 247 mm^3 (recomputed 372 246.0), r 64.0625
  // mm. Above the 10 % contour the base is cut off: V(h') with h' = 45 is pi h'^2 (r - h'/3), plus the 5 mm
  // under it.
  const double r = 64.0625, h = 50;
  const double whole = std::numbers::pi * h * h * (r - h / 3);
  CHECK(whole == Approx(372246.0).epsilon(1e-6));
  const SpotGeometry g = measure_spot(map_of(70, 701, [&](double x, double y) {
    const double s2 = r * r - x * x - y * y;
    return s2 > 0 ? std::max(0.0, std::sqrt(s2) - (r - h)) : 0.0;
  }));
  const double above = 45, chord2 = r * r - (r - above) * (r - above);
  const double expected = std::numbers::pi * above * above * (r - above / 3) + std::numbers::pi * chord2 * 5;
  CHECK(g.volume_mm3 == Approx(expected).epsilon(2e-3));
}

TEST_CASE("convention: height maps are row-major, row 0 at the smallest y, and negative is low",
          "[conventions][geometry]") {
  Relief map;
  map.x0_mm = 100;
  map.y0_mm = -30;
  map.step_mm = 0.5;
  map.columns = 60;
  map.rows = 40;
  map.height_mm.assign(60 * 40, 0.0F);
  const auto bump = [](int off) { return std::exp(-0.05 * off * off); };
  for (int row = 0; row < 40; ++row)
    for (int column = 0; column < 60; ++column)  // about row 12, column 33
      map.height_mm[static_cast<std::size_t>(60 * row + column)] =
          static_cast<float>(-0.2 * bump(row - 12) * bump(column - 33));
  CHECK(map.at(12, 33) == Approx(-0.2F));
  CHECK(height_at(map, 100 + 0.5 * 33, -30 + 0.5 * 12) == Approx(-0.2).epsilon(1e-6));
  SpotGeometry g = measure_spot(map);
  CHECK(g.kind == Kind::low);
  CHECK(g.depth_mm == Approx(0.2));  // told without a sign
  CHECK(g.x_mm == Approx(100 + 0.5 * 33).margin(1e-3));
  CHECK(g.y_mm == Approx(-30 + 0.5 * 12).margin(1e-3));
  for (float& height : map.height_mm) height = -height;
  CHECK(measure_spot(map).kind == Kind::high);
}

TEST_CASE("edge cases of maps", "[geometry]") {
  CHECK(measure_spot(Relief{}).diameter_mm == 0);
  CHECK(measure_spot(map_of(5, 41, [](double, double) { return 0.0; })).diameter_mm == 0);
  CHECK(measure_spot(map_of(5, 41, [](double x, double) { return x; })).touches_border);
}

TEST_CASE("the outline lies on the tenth contour", "[geometry]") {
  const Relief map =
      map_of(12, 121, [](double x, double y) { return -0.1 * std::exp(-(x * x + y * y) / 18); });
  const SpotGeometry g = measure_spot(map);
  const auto polygon = outline_polygon(map, g);
  REQUIRE(polygon.size() > 50);
  for (const PointMm& p : polygon)
    CHECK(std::hypot(p.x_mm, p.y_mm) == Approx(0.5 * 4.291932 * 3).margin(0.05));
}
