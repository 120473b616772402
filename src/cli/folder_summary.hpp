// What a run over a folder says at its end.
#pragma once

#include <string>
#include <vector>

#include "ripplegauge/quote/job.hpp"

namespace ripplegauge::cli {

/// What became of one photo of the folder, in this run or an earlier one.
struct FolderOutcome {
  std::string name, panel;
  Status status = Status::measured;
  std::optional<Refusal> refusal;
  std::vector<Warning> warnings;
  bool before = false;  ///< measured in an earlier run
};

struct FolderSummary {
  std::vector<FolderOutcome> photos;  ///< in the order of their names
  std::vector<std::string> remarks;   ///< what else somebody should know, one sentence each
  std::size_t left = 0;               ///< photos that an interrupt left unmeasured
};

int refused_count(const FolderSummary& summary);

/// Counts, a chart of the job's spots by panel and size, warnings, and the refused photos with what to do
/// about them, gathered by reason; at most 80 columns.
std::string summary_text(const FolderSummary& summary, const Job& job);

}  // namespace ripplegauge::cli
