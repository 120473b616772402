#include "ripplegauge/training/progress.hpp"

#include <algorithm>
#include <numeric>

#include "ripplegauge/training/trend.hpp"

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

void summarise(TraineeProgress& progress) {
  std::vector<double> number, percent, minutes;
  for (std::size_t i = 0; i < progress.attempts.size(); ++i) {
    const TrainingAttempt& attempt = progress.attempts[i];
    progress.highs_made += attempt.highs_made;
    progress.attempts_with_highs += attempt.highs_made > 0 ? 1 : 0;
    if (attempt.minutes) minutes.push_back(*attempt.minutes);
    if (!attempt.percent_gone) continue;
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
