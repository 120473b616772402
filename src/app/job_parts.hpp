// What becomes of readings in a job: graded and judged. A folder run and adding by hand share it.
#pragma once

#include <filesystem>
#include <string>

#include "quote/job.hpp"
#include "ripplegauge/measure/measure.hpp"
#include "severity/severity.hpp"

namespace ripplegauge {

/// What the rules can use of a panel's facts in the job (aluminium, repainted, body line, ...); the rest is
/// as `otherwise` has it.
PanelFacts facts_of_panel(const Job& job, const std::string& panel, const PanelFacts& otherwise = {});

/// add_reading, and what the rules say of the new spots: a grade where the reading has none, and whether they
/// are probably beyond pulling, with the reasons among the notes.
AddedReading add_judged_reading(Job& job, const std::string& panel, const Reading& reading,
                                const Provenance& from, const SeverityRules& rules,
                                const PanelFacts& otherwise = {});

/// Behind the notes that stand there, if it says anything.
void add_note(std::string& notes, const std::string& note);

/// For JobPhoto::measured_with: the numbers as people say them, and what tells two cards or boards of one
/// name apart.
std::string values_text(const MeasureRequest& request);

/// A file as it is named from the job's folder, so that the folder can be moved as a whole.
std::string relative_to_job(const std::filesystem::path& file, const std::filesystem::path& job_file);

}  // namespace ripplegauge
