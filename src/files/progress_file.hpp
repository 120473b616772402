// Progress as the user takes it away: figures as JSON, and the chart.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "picture/chart.hpp"
#include "picture/report_page.hpp"
#include "training/practice.hpp"
#include "training/progress.hpp"

namespace ripplegauge {

/// What is said of one trainee's attempts at one exercise.
struct ProgressView {
  TraineeProgress progress;
  std::optional<double> target_percent;  ///< what the trainer wants
  std::vector<PracticeAdvice> advice;
};

std::string progress_to_json(const std::vector<ProgressView>& all);

/// Percent gone by attempt, with the days of the photos; a panel for each trainee and exercise. Triangles are
/// attempts that went past flat, a dashed line across is the target.
Chart progress_chart(const std::vector<ProgressView>& all);

/// All trainees side by side: attempts, past flat in the first and second half, last and best, trend, target.
struct OverviewRow {
  std::string exercise, who, attempts, past_flat, last, best, trend;
};
std::vector<OverviewRow> progress_overview(const std::vector<ProgressView>& all);

/// A page to hand out: overview, charts, what to practise next and why.
ReportPage progress_page(const std::vector<ProgressView>& all, const std::string& workshop,
                         const std::string& date);

}  // namespace ripplegauge
