// Job files: JSON, schema 2; files of schema 1 are read, too.
#pragma once

#include <filesystem>
#include <functional>
#include <string>
#include <string_view>

#include "quote/job.hpp"

namespace ripplegauge {

/// Throws FileError for anything that is no consistent job of this or an earlier version.
Job read_job(const std::filesystem::path& file);

/// `name` stands for the file in error messages.
Job job_from_json(std::string_view text, const std::string& name);

/// The same job gives the same bytes; reading the text back and writing it again changes nothing. Throws
/// UsageError for a job that could not be read back, such as one with control characters in its texts.
std::string job_to_json(const Job& job);

/// What `job list` shows, for machines: spots with whether they count, panels with how many, what was not
/// measured, warnings, changes by hand, questions.
std::string job_list_to_json(const Job& job);

/// Whether a job file has to be there before it is changed.
enum class JobMustBe { there, new_file, either };

/// Reads the job, lets `change` work on it, and writes it back at once, while no other process that uses this
/// function can read or write a job of the same folder: of two that add at the same time, neither loses
/// anything. If `change` throws, or returns false, the file stays as it was. The file is replaced as a whole,
/// so that it is readable wherever the program is stopped. Throws FileError.
void change_job(const std::filesystem::path& file, JobMustBe must_be,
                const std::function<bool(Job&)>& change);

}  // namespace ripplegauge
