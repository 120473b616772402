#include "dents/spot_shape.hpp"

#include <array>
#include <vector>

#include "catch.hpp"
#include "dents/spot_kernel.hpp"

using namespace ripplegauge;

namespace {

SpotVector slanted_spot() {
  SpotVector v;
  v << 10, 20, std::log(6.0), std::log(4.0), 0.4, -0.3, std::log(2.3), std::log(5.0), 0.1, -0.05;
  return v;
}

constexpr std::array<std::array<double, 2>, 4> places{{{11, 21}, {14, 18}, {8, 23.5}, {10.5, 19}}};

/// The same spot for the arithmetic over arrays, from the definition of its members.
kernel::Spot for_kernel(const SpotVector& v) {
  const auto f = [](double x) { return static_cast<float>(x); };
  const double order = std::exp(v[s_log_n]), tenth = std::log(10.0);
  const auto log_rim = [&](double log_order) { return std::log(1 - std::exp(-tenth / std::exp(log_order))); };
  constexpr double step = 1e-5;
  return {f(v[s_x]),
          f(v[s_y]),
          f(std::exp(-v[s_log_a])),
          f(std::exp(-v[s_log_b])),
          f(std::cos(v[s_angle])),
          f(std::sin(v[s_angle])),
          f(v[s_height]),
          f(std::exp(v[s_log_p])),
          f(order),
          f(1 - std::pow(0.1, 1 / order)),
          f((log_rim(v[s_log_n] + step) - log_rim(v[s_log_n] - step)) / (2 * step)),
          f(v[s_slant_u]),
          f(v[s_slant_v])};
}

}  // namespace

TEST_CASE("a spot's slopes are the derivatives of its height", "[dents]") {
  const SpotShape<double> shape(slanted_spot());
  constexpr double h = 1e-4;  // mm; central differences are then good to 1e-7
  for (const auto& [x, y] : places) {
    const auto at = shape.at(x, y);
    CHECK(at.slope_x == Approx((shape.at(x + h, y).z - shape.at(x - h, y).z) / (2 * h)).margin(1e-6));
    CHECK(at.slope_y == Approx((shape.at(x, y + h).z - shape.at(x, y - h).z) / (2 * h)).margin(1e-6));
  }
}

TEST_CASE("the arithmetic over arrays has the shape's height, slopes, bends and derivatives", "[dents]") {
  const SpotVector v = slanted_spot();
  const SpotShape<double> shape(v);
  const SpotShape<SpotDual> with_derivatives(v);
  constexpr double h = 1e-4, close = 3e-3;  // floats, and bends are held back a little towards the foot
  std::vector<float> x, y;
  for (const auto& place : places) {
    x.push_back(static_cast<float>(place[0]));
    y.push_back(static_cast<float>(place[1]));
  }
  const kernel::Places at_places{x.size(), x.data(), y.data()};
  std::array<std::vector<float>, 6> relief;
  for (auto& values : relief) values.assign(x.size(), 0);
  kernel::add_relief(for_kernel(v), at_places,
                     {relief[0].data(), relief[1].data(), relief[2].data(), relief[3].data(),
                      relief[4].data(), relief[5].data()});
  const std::vector<float> by_x(x.size(), 0.8F), by_y(x.size(), -0.6F);
  std::array<std::vector<float>, spot_parameters> rows;
  std::array<float*, spot_parameters> row{};
  for (std::size_t s = 0; s < rows.size(); ++s) rows[s].assign(x.size(), 0), row[s] = rows[s].data();
  kernel::spot_rows(for_kernel(v), at_places, by_x.data(), by_y.data(), row.data());
  for (std::size_t i = 0; i < x.size(); ++i) {
    const double px = x[i], py = y[i];
    const auto at = shape.at(px, py), east = shape.at(px + h, py), west = shape.at(px - h, py),
               north = shape.at(px, py + h), south = shape.at(px, py - h);
    const std::array<double, 6> expected{at.z,
                                         at.slope_x,
                                         at.slope_y,
                                         (east.slope_x - west.slope_x) / (2 * h),
                                         (east.slope_y - west.slope_y) / (2 * h),
                                         (north.slope_y - south.slope_y) / (2 * h)};
    for (std::size_t k = 0; k < expected.size(); ++k)
      CHECK(relief[k][i] == Approx(expected[k]).epsilon(close).margin(1e-5));
    const auto dual = with_derivatives.at(px, py);
    for (int s = 0; s < spot_parameters; ++s) {
      const double derivative = 0.8 * dual.slope_x.gradient[s] - 0.6 * dual.slope_y.gradient[s];
      INFO("parameter " << s);
      CHECK(rows[static_cast<std::size_t>(s)][i] == Approx(derivative).epsilon(close).margin(2e-4));
    }
  }
}

TEST_CASE("a foot without bounds to its bend is held to what a pixel sees of it", "[dents]") {
  SpotVector v = slanted_spot();
  v[s_log_n] = std::log(1.4);
  v[s_slant_u] = v[s_slant_v] = v[s_angle] = 0;
  const kernel::Spot spot = for_kernel(v);
  // Where the spot ends, along its longer axis.
  const double end_mm = std::exp(v[s_log_a]) * std::pow(1 / (1 - std::pow(0.1, 1 / 1.4)), 1 / 2.3);
  std::vector<float> x, y;
  for (const double before_mm : {1e-1, 1e-2, 1e-3, 1e-4, 1e-5}) {
    x.push_back(static_cast<float>(v[s_x] + end_mm - before_mm));
    y.push_back(static_cast<float>(v[s_y]));
  }
  std::array<std::vector<float>, 6> relief;
  for (auto& values : relief) values.assign(x.size(), 0);
  kernel::add_relief(spot, {x.size(), x.data(), y.data()},
                     {relief[0].data(), relief[1].data(), relief[2].data(), relief[3].data(),
                      relief[4].data(), relief[5].data()});
  for (std::size_t i = 1; i < x.size(); ++i) CHECK(std::abs(relief[3][i]) < 2 * std::abs(relief[3][0]));
  CHECK(std::abs(relief[3].back()) < 0.1 * std::abs(relief[3][0]));
}
