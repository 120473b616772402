#pragma once

#include <filesystem>
#include <map>
#include <optional>
#include <string>
#include <vector>

#include "picture/chart.hpp"
#include "picture/report_page.hpp"
#include "ripplegauge/core/reading.hpp"
#include "training/known_values.hpp"
#include "training/repeatability_study.hpp"

namespace ripplegauge {

/// The readings of one study: those of one file, or of one method where the file has a column `method`.
struct StudyGroup {
  std::string name;
  std::string unit;  ///< what stands after `value_` in the header: "mm" for value_mm; may be empty
  std::vector<StudyValue> values;
  std::vector<std::string> notes{};  ///< which spot is which, and readings that were left out
};

/// Reads a table with the columns part, person, trial, value (or value_UNIT) and, if wanted, method and note,
/// in any order. Commas separate; a file whose header has semicolons or tabs instead may have decimal commas,
/// as spreadsheets write them in many countries. Throws FileError naming line, column and rule.
std::vector<StudyGroup> read_study_file(const std::filesystem::path& file);

enum class StudyQuantity { depth_mm, diameter_mm, radius_mm };

/// Part, person and trial from the end of a name: "door1_anna_2", also with "/" instead of "_". Nothing for a
/// name without three parts.
std::optional<StudyValue> study_labels(const std::string& name);

struct LabelledReading {
  StudyValue labels;  ///< without a value
  Reading reading;
};

/// "door1#2", the second spot of a part that has several.
std::string study_spot_name(const std::string& part, std::size_t index);

/// What readings give for a study, with their intervals; the radius is the smallest one of bend. Where a part
/// has several spots, each is a part by itself, numbered as in the reading that shows most of them; a spot is
/// told again by its place, or by the pattern that the spots make. Readings in which that cannot be told are
/// left out and named in the notes; spots whose quantity is not known are missing.
StudyGroup study_of(const std::string& name, const std::vector<LabelledReading>& readings,
                    StudyQuantity quantity);

/// What was measured of the parts by something better: columns part, depth_mm, diameter_mm, radius_mm, each
/// of them with half of its 95 % interval in depth_uncertainty_mm and so on, and note. Empty cells are not
/// known. Throws FileError naming line, column and rule.
std::map<std::string, KnownValue> read_known_values(const std::filesystem::path& file,
                                                    StudyQuantity quantity);

/// A study of readings that this program saved, each named PART_PERSON_TRIAL.json: see study_of. Photos that
/// were refused, or whose depth is unknown, are left out: the study then names them as missing. Throws
/// FileError.
StudyGroup study_from_readings(const std::vector<std::filesystem::path>& files, StudyQuantity quantity);

struct NamedStudy {
  std::string name, unit;
  StudyResult result;
  std::vector<StudyValue> values{};
  KnownComparison known{};
  std::optional<Quantity> scatter_over_stated{};
  std::vector<std::string> notes{};  ///< StudyGroup::notes
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
