// What a run over a folder says at its end.
#pragma once

#include <string>

#include "app/folder_run.hpp"

namespace ripplegauge::cli {

/// Counts, a chart of the job's spots by panel and size, warnings, and the refused photos with what to do
/// about them, gathered by reason; at most 80 columns.
std::string summary_text(const FolderSummary& summary);

}  // namespace ripplegauge::cli
