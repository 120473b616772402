// Readings against what is known of the parts: are they off, and do their intervals say so?
#pragma once

#include <map>
#include <string>
#include <vector>

#include "training/repeatability_study.hpp"

namespace ripplegauge {

/// Measured by something better, in the unit of the readings.
struct KnownValue {
  double value = 0;
  double uncertainty = 0;  ///< half of its 95 % interval
};

/// Mean of a part's readings less its known value. People, or set-ups, count once each, since the readings of
/// one share what is wrong with it; with one of them its readings do. The interval, by Student's t and the
/// known value's own uncertainty, is absent where a part has one.
struct PartBias {
  std::string part;
  KnownValue known;
  int readings = 0;
  double bias = 0;
  std::optional<Quantity> interval;
};

struct KnownComparison {
  std::vector<PartBias> parts;           ///< those whose value is known
  std::optional<Quantity> bias_percent;  ///< mean over the parts, with two or more of them
  int stated = 0,
      holding = 0;  ///< readings with an interval of their own, and those of them that hold the truth
};

KnownComparison compare_with_known(const std::vector<StudyValue>& values,
                                   const std::map<std::string, KnownValue>& known, double confidence = 0.95);

/// How many times the scatter of readings about their part's mean is what their own intervals of 95 % state,
/// as standard deviations: 1 where the intervals are right, above where they promise too much. The interval
/// is that of a chi-squared spread. Absent where no part has two readings with intervals.
std::optional<Quantity> scatter_over_stated(const std::vector<StudyValue>& values, double confidence = 0.95);

}  // namespace ripplegauge
