#include "training/known_values.hpp"

#include <cmath>
#include <random>

#include "catch.hpp"
#include "ripplegauge/core/errors.hpp"

using namespace ripplegauge;

namespace {

StudyValue reading(const std::string& part, const std::string& person, const std::string& trial, double value,
                   double half_width = 0) {
  StudyValue one{part, person, trial, value};
  if (half_width > 0) one.stated = Quantity{value, value - half_width, value + half_width};
  return one;
}

}  // namespace

TEST_CASE("bias counts set-ups, not readings, and is Student's", "[study][known]") {
  // Two set-ups with means 0.21 and 0.23: their mean is 0.02 over 0.2, standard error 0.01, t(1) = 12.706.
  const std::vector<StudyValue> values = {reading("a", "1", "1", 0.20), reading("a", "1", "2", 0.22),
                                          reading("a", "2", "1", 0.22), reading("a", "2", "2", 0.24)};
  const KnownComparison known = compare_with_known(values, {{"a", {0.2, 0}}, {"b", {1, 0}}});
  REQUIRE(known.parts.size() == 1);
  CHECK(known.parts[0].readings == 4);
  CHECK(known.parts[0].bias == Approx(0.02));
  CHECK(known.parts[0].interval->high - 0.02 == Approx(0.12706).epsilon(1e-4));
  CHECK_FALSE(known.bias_percent.has_value());
  CHECK(known.stated == 0);

  const KnownComparison gauge = compare_with_known(values, {{"a", {0.2, 0.05}}});
  CHECK(gauge.parts[0].interval->high - 0.02 == Approx(std::hypot(0.12706, 0.05)).epsilon(1e-4));
}

TEST_CASE("readings whose interval holds what is known are counted", "[study][known]") {
  const std::vector<StudyValue> values = {
      reading("a", "1", "1", 1.00, 0.01), reading("a", "1", "2", 1.04, 0.01),
      reading("b", "1", "1", 2.00, 0.01), reading("c", "1", "1", 5.00, 0.01)};
  const std::map<std::string, KnownValue> truth = {{"a", {1.005, 0}}, {"b", {2.03, 0}}};
  const KnownComparison known = compare_with_known(values, truth);
  CHECK(known.stated == 3);
  CHECK(known.holding == 1);
  // Per cents of the parts: 100 (1.02 / 1.005 - 1) = 1.4925 and 100 (2 / 2.03 - 1) = -1.4778.
  REQUIRE(known.bias_percent.has_value());
  CHECK(known.bias_percent->value == Approx(0.5 * (1.4925 - 1.4778)).margin(1e-3));
  // A gauge that knows b to 0.03 only cannot say that the reading missed it.
  CHECK(compare_with_known(values, {{"b", {2.03, 0.03}}}).holding == 1);
}

TEST_CASE("scatter against stated intervals: 1 where they are right, 2 where they are half as wide",
          "[study][known]") {
  std::mt19937 random(5);
  std::normal_distribution<double> noise(0, 0.01);
  std::vector<StudyValue> right, narrow;
  for (int part = 0; part < 40; ++part)
    for (int i = 0; i < 6; ++i) {
      const double value = 0.1 * (part + 1) + noise(random);
      right.push_back(
          reading(std::to_string(part), "1", std::to_string(i), value, coverage_factor_95 * 0.01));
      narrow.push_back(
          reading(std::to_string(part), "1", std::to_string(i), value, 0.5 * coverage_factor_95 * 0.01));
    }
  const auto one = scatter_over_stated(right), two = scatter_over_stated(narrow);
  REQUIRE(one.has_value());
  CHECK(one->low < 1);
  CHECK(one->high > 1);
  CHECK(one->high - one->low < 0.25);
  CHECK(two->value == Approx(2 * one->value));
  CHECK(two->low > 1);
  CHECK_FALSE(scatter_over_stated({reading("a", "1", "1", 1, 0.1), reading("b", "1", "1", 2, 0.1)}));
}

TEST_CASE("one part read in several set-ups tells how set-ups differ", "[study][known]") {
  // Means 1, 2, 3 of two readings each that are 0.1 apart from their mean: mean square between 2, within
  // 0.02.
  std::vector<StudyValue> values;
  for (const double mean : {1.0, 2.0, 3.0})
    for (const double off : {-0.1, 0.1})
      values.push_back(reading("a", std::to_string(mean), off < 0 ? "1" : "2", mean + off));
  StudyOptions options;
  options.tolerance = 12;
  const StudyResult result = study_repeatability(values, options);
  REQUIRE(result.reproducibility.has_value());
  CHECK(result.repeatability->value == Approx(std::sqrt(0.02)));
  CHECK(result.reproducibility->value == Approx(std::sqrt((2 - 0.02) / 2)));
  CHECK(result.measurement->value == Approx(std::sqrt(0.99 + 0.02)));
  CHECK_FALSE(result.part_variation.has_value());
  REQUIRE(result.tolerance_percent.has_value());
  CHECK(result.tolerance_percent->value == Approx(100 * 6 * std::sqrt(1.01) / 12));
  options.tolerance = -1;
  CHECK_THROWS_AS(study_repeatability(values, options), UsageError);
}
