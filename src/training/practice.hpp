// What to practise next: rules, which are data, over what a trainee's attempts add up to.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "core/enum_words.hpp"
#include "training/progress.hpp"

namespace ripplegauge {

/// "Recent" and "last" are the last three attempts in which nothing went past flat.
enum class PracticeMeasure {
  past_flat_percent,     ///< of the second half of the attempts
  new_marks_percent,     ///< attempts that left highs or lows elsewhere, of all
  recent_percent,        ///< mean share gone; unknown where the last attempt went past flat
  below_target_percent,  ///< target less that mean; unknown without a target
  spread_percent,        ///< standard deviation of the share gone
  trend_percent          ///< points an attempt; unknown where its sign is not sure
};

template <>
struct EnumWords<PracticeMeasure> {
  static constexpr std::pair<PracticeMeasure, const char*> list[] = {
      {PracticeMeasure::past_flat_percent, "past_flat_percent"},
      {PracticeMeasure::new_marks_percent, "new_marks_percent"},
      {PracticeMeasure::recent_percent, "recent_percent"},
      {PracticeMeasure::below_target_percent, "below_target_percent"},
      {PracticeMeasure::spread_percent, "spread_percent"},
      {PracticeMeasure::trend_percent, "trend_percent"}};
};

struct PracticeRule {
  PracticeMeasure of = PracticeMeasure::recent_percent;
  std::optional<double> above, below;
  int attempts_from = 1;  ///< with fewer attempts it says nothing
  std::string says;       ///< what to do
  std::string because;    ///< why; {value} stands for the measure
};

struct PracticeAdvice {
  std::string says, because;
};

/// Absent where the attempts do not tell.
std::optional<double> value_of(PracticeMeasure of, const TraineeProgress& progress,
                               std::optional<double> target_percent);

/// All rules that apply, in their order.
std::vector<PracticeAdvice> practice_advice(const TraineeProgress& progress,
                                            const std::vector<PracticeRule>& rules,
                                            std::optional<double> target_percent = std::nullopt);

}  // namespace ripplegauge
