// The training log: a CSV file that only ever grows.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "training/progress.hpp"

namespace ripplegauge {

/// Throws UsageError unless the label can stand in a log that people also open in a spreadsheet: 1 to 100
/// bytes, no control characters, and no beginning that a spreadsheet takes for a formula.
void check_training_label(const std::string& option, const std::string& label);

/// Appends one row, in the separator and with the decimal mark that the file has: people open and save it in
/// a spreadsheet, and add columns of their own, which stay. A log of an earlier version gets the columns that
/// it lacks. Nothing is added where the same pair of photos (by fingerprints, else by names and times) stands
/// there for the same trainee and exercise: the line of it is returned. Under a lock that all programs with
/// this function respect, in one write and flushed to the disk; a new or empty file gets its header first. A
/// log that is damaged is left as it is. Throws FileError naming the damaged line.
std::optional<int> append_to_training_log(const std::filesystem::path& file, const TrainingAttempt& attempt);

/// All rows. Throws FileError naming the damaged line.
std::vector<TrainingAttempt> read_training_log(const std::filesystem::path& file);

}  // namespace ripplegauge
