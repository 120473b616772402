#include "training/trend.hpp"

#include <cmath>
#include <random>

#include "catch.hpp"

using namespace ripplegauge;

TEST_CASE("a fitted line agrees with the certified values", "[trend]") {
  // NIST Statistical Reference Datasets (StRD), linear regression, data set Norris: pairs y, x.
  const std::vector<std::pair<double, double>> norris = {
      {0.1, 0.2},     {338.8, 337.4}, {118.1, 118.2}, {888.0, 884.6}, {9.2, 10.1},    {228.1, 226.5},
      {668.5, 666.3}, {998.5, 996.3}, {449.1, 448.6}, {778.9, 777.0}, {559.2, 558.2}, {0.3, 0.4},
      {0.1, 0.6},     {778.1, 775.5}, {668.8, 666.9}, {339.3, 338.0}, {448.9, 447.5}, {10.8, 11.6},
      {557.7, 556.0}, {228.3, 228.1}, {998.0, 995.8}, {888.8, 887.6}, {119.6, 120.2}, {0.3, 0.3},
      {0.6, 0.3},     {557.6, 556.8}, {339.3, 339.1}, {888.0, 887.2}, {998.5, 999.0}, {778.9, 779.0},
      {10.2, 11.1},   {117.6, 118.3}, {228.9, 229.2}, {668.4, 669.1}, {449.2, 448.9}, {0.2, 0.5}};
  std::vector<double> x, y;
  for (const auto& [y_value, x_value] : norris) {
    x.push_back(x_value);
    y.push_back(y_value);
  }
  const LineFit line = fit_line(x, y);
  // Certified to 15 digits; sums of 36 squares near 1e6 cost three of a double's 16.
  CHECK(line.degrees_of_freedom == 34);
  CHECK(line.intercept == Approx(-0.262323073774029).epsilon(1e-10));
  CHECK(line.slope == Approx(1.00211681802045).epsilon(1e-12));
  CHECK(line.intercept_error == Approx(0.232818234301152).epsilon(1e-10));
  CHECK(line.slope_error == Approx(0.429796848199937e-3).epsilon(1e-10));
  CHECK(line.residual_deviation == Approx(0.884796396144373).epsilon(1e-10));
}

TEST_CASE("coverage factors agree with the printed table", "[trend]") {
  // JCGM 100:2008, Table G.2, as printed in NIST TN 1297, Table B.1: three digits.
  CHECK(coverage_factor(5, 0.95) == Approx(2.57).margin(0.005));
  CHECK(coverage_factor(5, 0.9545) == Approx(2.65).margin(0.005));
  CHECK(coverage_factor(10, 0.95) == Approx(2.23).margin(0.005));
  CHECK(coverage_factor(10, 0.9545) == Approx(2.28).margin(0.005));
  CHECK(coverage_factor(16, 0.99) == Approx(2.92).margin(0.005));
  const double endless = 1e12;  // the table's last row; it prints four digits
  CHECK(coverage_factor(endless, 0.95) == Approx(1.960).margin(0.0005));
  CHECK(coverage_factor(endless, 0.9545) == Approx(2.000).margin(0.0005));
  CHECK(coverage_factor(endless, 0.99) == Approx(2.576).margin(0.0005));
}

TEST_CASE("no line is made up from too little", "[trend]") {
  CHECK(std::isnan(fit_line({}, {}).slope));
  CHECK(std::isnan(fit_line({1, 2}, {1, 2}).slope));
  CHECK(std::isnan(fit_line({3, 3, 3}, {1, 2, 4}).slope));
  CHECK(std::isnan(slope_of(fit_line({1, 2}, {1, 2})).low));
}

TEST_CASE("the interval of a slope holds the truth about 95 times in 100", "[trend]") {
  std::mt19937_64 random(7);
  std::normal_distribution<double> noise;
  int inside = 0;
  const int trials = 1000;
  for (int trial = 0; trial < trials; ++trial) {
    std::vector<double> x, y;
    for (int i = 0; i < 6; ++i) {
      x.push_back(i);
      y.push_back(3 * i + 10 * noise(random));
    }
    const Quantity slope = slope_of(fit_line(x, y));
    inside += slope.low <= 3 && 3 <= slope.high;
  }
  // 950 expected, standard deviation 7: four of them.
  CHECK(inside >= 922);
  CHECK(inside <= 978);
}
