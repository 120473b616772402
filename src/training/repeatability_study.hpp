// How far readings can be trusted: do repeats agree (repeatability), do people agree (reproducibility), and
// is that small beside how much the parts differ? A crossed study by analysis of variance: every person reads
// every part the same number of times.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "ripplegauge/core/quantity.hpp"
#include "training/anova.hpp"

namespace ripplegauge {

/// One reading, in whatever unit the study is made in.
struct StudyValue {
  std::string part, person, trial;
  double value = 0;
  std::optional<Quantity> stated{};  ///< with the interval that the reading itself gives
};

struct StudyOptions {
  double confidence = 0.95;
  /// The person-by-part term is pooled into repeatability unless it is significant at this level; the custom
  /// of such studies (AIAG, Measurement Systems Analysis, 4th ed.).
  double pooling_level = 0.25;
  /// Draws of the simulated intervals: 10 000 leave their ends uncertain by about 1 % of the width.
  int draws = 10000;
  /// From the least to the most that is allowed, in the unit of the values.
  std::optional<double> tolerance{};

  void validate() const;
};

/// The usual reading of the share of measurement variation in the total: under 10 % good, up to 30 % depends
/// on what it is used for, above not fit for use (AIAG, Measurement Systems Analysis, 4th ed.).
enum class StudyVerdict { unknown, good, conditional, poor };
StudyVerdict verdict_for(double measurement_percent);
const char* to_string(StudyVerdict verdict);

/// A line of the analysis-of-variance table.
struct StudyTerm {
  std::string source;
  Spread spread;
  FTest test;
};

/// Standard deviations are in the unit of the values. What the study cannot tell is absent, and `missing`
/// says why.
struct StudyResult {
  std::vector<std::string> parts, people;  ///< in the order of their first appearance
  int trials = 0;                          ///< per person and part; 0 when they differ
  std::vector<StudyTerm> table;
  bool interaction_pooled = false;

  Spread repeats{0, 0};                     ///< of the same person on the same part, all cells together
  std::optional<Quantity> repeatability;    ///< the same person on the same part again
  std::optional<Quantity> reproducibility;  ///< between people, their interaction with the part included
  std::optional<Quantity> measurement;      ///< both together
  std::optional<Quantity> part_variation;
  std::optional<Quantity> total;
  std::optional<Quantity> repeatability_percent, reproducibility_percent, measurement_percent, part_percent;
  /// Six standard deviations of the measurement over the tolerance (AIAG, Measurement Systems Analysis, 4th
  /// ed.); of the repeats alone where nothing else is known.
  std::optional<Quantity> tolerance_percent;
  std::optional<int> distinct_categories;  ///< how many groups of parts the readings can tell apart
  StudyVerdict verdict = StudyVerdict::unknown;

  std::vector<std::string> missing;  ///< what keeps the study from being complete, and what to do
  std::vector<std::string> remarks;
};

StudyResult study_repeatability(const std::vector<StudyValue>& values, const StudyOptions& options = {});

/// How many times smaller the repeats of `one` are than those of `other`, as standard deviations, with the
/// exact interval of a ratio of two spreads (F distribution). Absent where either has no repeats that differ.
std::optional<Quantity> repeatability_ratio(const StudyResult& one, const StudyResult& other,
                                            double confidence = 0.95);

}  // namespace ripplegauge
