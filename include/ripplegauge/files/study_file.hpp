#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "ripplegauge/training/repeatability_study.hpp"

namespace ripplegauge {

/// The readings of one study: those of one file, or of one method where the file has a column `method`.
struct StudyGroup {
  std::string name;
  std::string unit;  ///< what stands after `value_` in the header: "mm" for value_mm; may be empty
  std::vector<StudyValue> values;
};

/// Reads a table with the columns part, person, trial, value (or value_UNIT) and, if wanted, method and note,
/// in any order. Commas separate; a file whose header has semicolons or tabs instead may have decimal commas,
/// as spreadsheets write them in many countries. Throws FileError naming line, column and rule.
std::vector<StudyGroup> read_study_file(const std::filesystem::path& file);

enum class StudyQuantity { depth_mm, diameter_mm };

/// A study of readings that this program saved, each named PART_PERSON_TRIAL.json; of several spots in one
/// photo the one with the largest value counts. Photos that were refused, or whose depth is unknown, are left
/// out: the study then names them as missing. Throws FileError.
StudyGroup study_from_readings(const std::vector<std::filesystem::path>& files, StudyQuantity quantity);

struct NamedStudy {
  std::string name, unit;
  StudyResult result;
};

/// All that the studies tell, as JSON.
std::string studies_to_json(const std::vector<NamedStudy>& studies, double confidence);

}  // namespace ripplegauge
