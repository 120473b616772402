#pragma once

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "ripplegauge/core/reading.hpp"
#include "ripplegauge/picture/chart.hpp"
#include "ripplegauge/picture/report_page.hpp"
#include "ripplegauge/training/known_values.hpp"
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

enum class StudyQuantity { depth_mm, diameter_mm, radius_mm };

/// Part, person and trial from the end of a name: "door1_anna_2", also with "/" instead of "_". Nothing for a
/// name without three parts.
std::optional<StudyValue> study_labels(const std::string& name);

/// What a reading gives for a study, with its interval; the radius is the smallest one of bend. Of several
/// spots the one with the largest value counts. Nothing where the photo was refused or the quantity is not
/// known.
std::optional<Quantity> study_quantity(const Reading& reading, StudyQuantity quantity);

/// What was measured of the parts by something better: columns part, depth_mm, diameter_mm, radius_mm, each
/// of them with half of its 95 % interval in depth_uncertainty_mm and so on, and note. Empty cells are not
/// known. Throws FileError naming line, column and rule.
std::map<std::string, KnownValue> read_known_values(const std::filesystem::path& file,
                                                    StudyQuantity quantity);

/// A study of readings that this program saved, each named PART_PERSON_TRIAL.json; of several spots in one
/// photo the one with the largest value counts. Photos that were refused, or whose depth is unknown, are left
/// out: the study then names them as missing. Throws FileError.
StudyGroup study_from_readings(const std::vector<std::filesystem::path>& files, StudyQuantity quantity);

struct NamedStudy {
  std::string name, unit;
  StudyResult result;
  std::vector<StudyValue> values{};
  KnownComparison known{};
  std::optional<Quantity> scatter_over_stated{};
};

/// Every reading with its interval, by part; and less what is known of the part, or its mean.
Chart study_chart(const NamedStudy& study);

/// What its figures say of tolerance, stated intervals and known values, a sentence each.
std::vector<std::string> study_sentences(const NamedStudy& study);

/// For whoever asks whether the instrument can be believed. `quantity` is a word, `date` "YYYY-MM-DD".
ReportPage study_page(const std::vector<NamedStudy>& studies, double confidence, const std::string& quantity,
                      const std::string& date);

/// All that the studies tell, as JSON.
std::string studies_to_json(const std::vector<NamedStudy>& studies, double confidence);

}  // namespace ripplegauge
