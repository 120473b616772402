#include "training/practice.hpp"

#include "catch.hpp"

using namespace ripplegauge;

namespace {

/// Shares gone; below 0: went past flat.
TraineeProgress progress_of(const std::vector<double>& percents) {
  std::vector<TrainingAttempt> attempts;
  for (const double percent : percents) {
    TrainingAttempt attempt;
    if (percent < 0)
      attempt.past_flat = 1;
    else
      attempt.percent_gone = percent;
    attempts.push_back(attempt);
  }
  return training_progress(attempts).at(0);
}

double value(PracticeMeasure of, const std::vector<double>& percents, std::optional<double> target = {}) {
  return value_of(of, progress_of(percents), target).value_or(-1000);
}

}  // namespace

TEST_CASE("measures of practice leave out what went past flat, or count it", "[practice]") {
  using enum PracticeMeasure;
  CHECK(value(past_flat_percent, {80, 80, -1, 80}) == 50);  // of the second half
  CHECK(value(recent_percent, {10, 60, 70, 80}) == 70);
  CHECK(value(recent_percent, {60, 70, -1}) == -1000);
  CHECK(value(below_target_percent, {60, 70, 80}, 90) == 20);
  CHECK(value(below_target_percent, {60, 70, 80}) == -1000);
  CHECK(value(spread_percent, {60, 80}) == Approx(14.1421));
  CHECK(value(trend_percent, {60, 50, 40, 31}) < 0);
  CHECK(value(trend_percent, {60, 80, 40, 70}) == -1000);
  CHECK_FALSE(value_of(recent_percent, TraineeProgress{}, 90).has_value());
}

TEST_CASE("a rule applies beyond its limit and with enough attempts, and tells its value", "[practice]") {
  const std::vector<PracticeRule> rules = {
      {PracticeMeasure::past_flat_percent, 30, std::nullopt, 3, "smaller steps", "{value} % went past flat"}};
  REQUIRE(practice_advice(progress_of({70, -1, -1}), rules).size() == 1);
  CHECK(practice_advice(progress_of({70, -1, -1}), rules)[0].because == "100 % went past flat");
  CHECK(practice_advice(progress_of({-1, -1}), rules).empty());
  CHECK(practice_advice(progress_of({-1, 70, 70}), rules).empty());
}
