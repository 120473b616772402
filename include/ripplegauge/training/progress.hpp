// A trainee's attempts at an exercise, and what they add up to.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "ripplegauge/core/quantity.hpp"

namespace ripplegauge {

/// One row of the training log: one pair of photos, before and after a pull. The labels are the trainer's
/// own.
struct TrainingAttempt {
  std::string logged_at;  ///< UTC, "YYYY-MM-DDTHH:MM:SSZ"
  std::string who, exercise;
  std::string before, after;  ///< the two photos or readings, as the user named them
  int spots = 0;              ///< in the photo before
  std::optional<double> depth_before_mm,
      depth_left_mm;                   ///< of the deepest spot before, and what is left of it
  std::optional<double> percent_gone;  ///< over all spots, weighted by depth
  int highs_made = 0;
  int new_lows = 0;
  std::optional<double> minutes;  ///< between the two photos
  std::string outcome;            ///< the case of the deepest spot, as in a comparison

  bool operator==(const TrainingAttempt&) const = default;
};

enum class TrendWord { too_few, improving, no_clear_trend, getting_worse };
const char* to_string(TrendWord word);

/// All attempts with the same who and exercise, in the order of the log.
struct TraineeProgress {
  std::string who, exercise;
  std::vector<TrainingAttempt> attempts;
  std::optional<double> mean_percent_gone, first_percent_gone, last_percent_gone, best_percent_gone;
  int highs_made = 0;
  int attempts_with_highs = 0;
  std::optional<double> median_minutes;
  std::optional<Quantity>
      trend_percent_per_attempt;  ///< absent with fewer than three attempts that have a figure
  TrendWord trend = TrendWord::too_few;
};

/// Grouped by exercise and trainee, in the order of first appearance.
std::vector<TraineeProgress> training_progress(const std::vector<TrainingAttempt>& attempts);

}  // namespace ripplegauge
