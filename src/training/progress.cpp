// Attempts in the order of their photos, then medians, shares and the trend of each trainee.
#include "training/progress.hpp"

#include <algorithm>
#include <numeric>

#include "training/trend.hpp"

namespace ripplegauge {

namespace {

std::optional<double> median(std::vector<double> values) {
  if (values.empty()) return std::nullopt;
  std::sort(values.begin(), values.end());
  const std::size_t middle = values.size() / 2;
  return values.size() % 2 == 1 ? values[middle] : 0.5 * (values[middle - 1] + values[middle]);
}

TrendWord word_for(const std::optional<Quantity>& trend) {
  if (!trend) return TrendWord::too_few;
  if (trend->low > 0) return TrendWord::improving;
  return trend->high < 0 ? TrendWord::getting_worse : TrendWord::no_clear_trend;
}

/// By the time of the photos, where all attempts have one.
void put_in_order(std::vector<TrainingAttempt>& attempts) {
  if (std::any_of(attempts.begin(), attempts.end(),
                  [](const TrainingAttempt& one) { return one.when().empty(); }))
    return;
  std::stable_sort(attempts.begin(), attempts.end(),
                   [](const TrainingAttempt& a, const TrainingAttempt& b) { return a.when() < b.when(); });
}

void count_past_flat(TraineeProgress& progress) {
  const std::size_t half = progress.attempts.size() / 2;
  for (std::size_t i = 0; i < progress.attempts.size(); ++i) {
    const TrainingAttempt& attempt = progress.attempts[i];
    for (Share* share :
         {&progress.past_flat, i < half ? &progress.past_flat_early : &progress.past_flat_late}) {
      ++share->of;
      share->count += attempt.went_past_flat() ? 1 : 0;
    }
    if (attempt.overshoot_mm)
      progress.largest_overshoot_mm =
          std::max(progress.largest_overshoot_mm.value_or(0), *attempt.overshoot_mm);
  }
}

void summarise(TraineeProgress& progress) {
  put_in_order(progress.attempts);
  count_past_flat(progress);
  std::vector<double> number, percent, minutes;
  for (std::size_t i = 0; i < progress.attempts.size(); ++i) {
    const TrainingAttempt& attempt = progress.attempts[i];
    progress.highs_made += attempt.highs_made;
    progress.attempts_with_highs += attempt.highs_made > 0 ? 1 : 0;
    if (attempt.minutes) minutes.push_back(*attempt.minutes);
    if (!attempt.percent_gone || attempt.went_past_flat()) continue;
    ++progress.not_proven.of;
    progress.not_proven.count += attempt.same_place == "likely" ? 1 : 0;
    number.push_back(static_cast<double>(i + 1));
    percent.push_back(*attempt.percent_gone);
  }
  progress.median_minutes = median(minutes);
  if (percent.empty()) return;
  progress.first_percent_gone = percent.front();
  progress.last_percent_gone = percent.back();
  progress.best_percent_gone = *std::max_element(percent.begin(), percent.end());
  progress.mean_percent_gone =
      std::accumulate(percent.begin(), percent.end(), 0.0) / static_cast<double>(percent.size());
  if (percent.size() >= 3) progress.trend_percent_per_attempt = slope_of(fit_line(number, percent));
  progress.trend = word_for(progress.trend_percent_per_attempt);
}

}  // namespace

bool TrainingAttempt::went_past_flat() const {
  return past_flat > 0 || outcome == "overdone" || outcome == "low_in_high" || outcome == "high_in_low";
}

std::string TrainingAttempt::when() const {
  for (const std::string& time : {taken_after, taken_before, logged_at})
    if (time.size() >= 19) return time.substr(0, 19);
  return "";
}

const char* to_string(TrendWord word) {
  switch (word) {
    case TrendWord::too_few:
      return "too few attempts";
    case TrendWord::improving:
      return "improving";
    case TrendWord::no_clear_trend:
      return "no clear trend";
    case TrendWord::getting_worse:
      return "getting worse";
  }
  return "too few attempts";
}

std::vector<TraineeProgress> training_progress(const std::vector<TrainingAttempt>& attempts) {
  std::vector<TraineeProgress> all;
  for (const TrainingAttempt& attempt : attempts) {
    auto found = std::find_if(all.begin(), all.end(), [&](const TraineeProgress& progress) {
      return progress.who == attempt.who && progress.exercise == attempt.exercise;
    });
    if (found == all.end()) {
      all.emplace_back();
      found = all.end() - 1;
      found->who = attempt.who;
      found->exercise = attempt.exercise;
    }
    found->attempts.push_back(attempt);
  }
  for (TraineeProgress& progress : all) summarise(progress);
  return all;
}

}  // namespace ripplegauge
