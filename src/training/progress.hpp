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
      depth_left_mm;                     ///< of the deepest spot before, and what is left of it
  std::optional<double> left_height_mm;  ///< the same with its sign: low below 0, high above
  std::optional<double> percent_gone;    ///< over all spots that did not go past flat, weighted by depth
  int highs_made = 0;
  int new_lows = 0;
  std::optional<double> minutes;           ///< between the two photos
  std::string outcome;                     ///< the case of the deepest spot, as in a comparison
  int past_flat = 0;                       ///< spots that were pulled or knocked down too far
  std::optional<double> overshoot_mm;      ///< the most that one of them stands on the other side
  std::optional<double> visible_limit_mm;  ///< at the deepest spot: less would not have shown
  std::string taken_before, taken_after;   ///< "YYYY-MM-DDTHH:MM:SS" as the camera says; empty when unknown
  std::string fingerprint_before, fingerprint_after;  ///< of the photos' bytes; empty when unknown
  std::string warnings;                               ///< codes of the readings' warnings, a space between
  std::string same_place;  ///< proven, likely or no, as in a comparison; empty in older rows

  /// Also of rows that a version wrote which counted nothing but the deepest spot.
  bool went_past_flat() const;
  /// When the work was photographed, else when it was logged; sorts as text.
  std::string when() const;

  bool operator==(const TrainingAttempt&) const = default;
};

enum class TrendWord { too_few, improving, no_clear_trend, getting_worse };
const char* to_string(TrendWord word);

/// So many of so many.
struct Share {
  int count = 0, of = 0;
};

/// All attempts with the same who and exercise, in the order of their photos. Per cents are of attempts in
/// which nothing went past flat: what was pulled too far is no success, however little stands there.
struct TraineeProgress {
  std::string who, exercise;
  std::vector<TrainingAttempt> attempts;
  std::optional<double> mean_percent_gone, first_percent_gone, last_percent_gone, best_percent_gone;
  Share past_flat, past_flat_early, past_flat_late;  ///< attempts: of all, of the first half, of the second
  std::optional<double> largest_overshoot_mm;
  int highs_made = 0;
  int attempts_with_highs = 0;
  Share not_proven;  ///< of those with a figure: nothing proves that their photos show one place
  std::optional<double> median_minutes;
  std::optional<Quantity>
      trend_percent_per_attempt;  ///< absent with fewer than three attempts that have a figure
  TrendWord trend = TrendWord::too_few;
};

/// Grouped by exercise and trainee, in the order of first appearance.
std::vector<TraineeProgress> training_progress(const std::vector<TrainingAttempt>& attempts);

}  // namespace ripplegauge
