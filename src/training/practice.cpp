// Works out what the rules of practice ask for, and which of them apply.
#include "training/practice.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>

#include "training/anova.hpp"

namespace ripplegauge {

namespace {

std::vector<double> clean_percents(const TraineeProgress& progress) {
  std::vector<double> percents;
  for (const TrainingAttempt& attempt : progress.attempts)
    if (attempt.percent_gone && !attempt.went_past_flat()) percents.push_back(*attempt.percent_gone);
  return percents;
}

double mean_of(std::vector<double>::const_iterator from, std::vector<double>::const_iterator to) {
  return std::accumulate(from, to, 0.0) / static_cast<double>(to - from);
}

std::optional<double> recent_mean(const TraineeProgress& progress) {
  constexpr std::size_t recent = 3;
  const std::vector<double> percents = clean_percents(progress);
  if (percents.empty() || progress.attempts.back().went_past_flat()) return std::nullopt;
  const auto count = static_cast<std::ptrdiff_t>(std::min(recent, percents.size()));
  return mean_of(percents.end() - count, percents.end());
}

std::optional<double> percent_of(int count, std::size_t of) {
  if (of == 0) return std::nullopt;
  return 100.0 * count / static_cast<double>(of);
}

}  // namespace

std::optional<double> value_of(PracticeMeasure of, const TraineeProgress& progress,
                               std::optional<double> target_percent) {
  if (progress.attempts.empty()) return std::nullopt;
  switch (of) {
    case PracticeMeasure::past_flat_percent:
      return percent_of(progress.past_flat_late.count, static_cast<std::size_t>(progress.past_flat_late.of));
    case PracticeMeasure::new_marks_percent: {
      const auto marks = std::count_if(
          progress.attempts.begin(), progress.attempts.end(), [](const TrainingAttempt& attempt) {
            return attempt.new_lows > 0 || (attempt.highs_made > 0 && !attempt.went_past_flat());
          });
      return percent_of(static_cast<int>(marks), progress.attempts.size());
    }
    case PracticeMeasure::recent_percent:
      return recent_mean(progress);
    case PracticeMeasure::below_target_percent: {
      const auto recent = recent_mean(progress);
      if (!recent || !target_percent) return std::nullopt;
      return *target_percent - *recent;
    }
    case PracticeMeasure::spread_percent: {
      const std::vector<double> percents = clean_percents(progress);
      if (percents.size() < 2) return std::nullopt;
      return std::sqrt(spread_about_mean(percents).mean_square());
    }
    case PracticeMeasure::trend_percent: {
      const auto& trend = progress.trend_percent_per_attempt;
      if (!trend || (trend->low <= 0 && trend->high >= 0)) return std::nullopt;
      return trend->value;
    }
  }
  return std::nullopt;
}

std::vector<PracticeAdvice> practice_advice(const TraineeProgress& progress,
                                            const std::vector<PracticeRule>& rules,
                                            std::optional<double> target_percent) {
  std::vector<PracticeAdvice> advice;
  for (const PracticeRule& rule : rules) {
    if (static_cast<int>(progress.attempts.size()) < rule.attempts_from) continue;
    const auto value = value_of(rule.of, progress, target_percent);
    if (!value || (rule.above && !(*value > *rule.above)) || (rule.below && !(*value < *rule.below)))
      continue;
    std::string because = rule.because;
    const std::string mark = "{value}";
    if (const auto at = because.find(mark); at != std::string::npos)
      because.replace(at, mark.size(), std::to_string(std::lround(std::abs(*value))));
    advice.push_back({rule.says, because});
  }
  return advice;
}

}  // namespace ripplegauge
