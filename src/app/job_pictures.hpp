// The annotated pictures of a job, in a folder beside it: evidence on the pages of its quotes.
#pragma once

#include <filesystem>
#include <string>
#include <vector>

#include "quote/job.hpp"
#include "ripplegauge/core/reading.hpp"
#include "words/wording.hpp"

namespace ripplegauge {

/// The file of JobPhoto::picture. Throws FileError where that lies outside the job's folder, if only by way
/// of links: a job file from somebody else could have any picture of this computer put into a page to be
/// mailed.
std::filesystem::path picture_of_job(const std::string& picture, const std::filesystem::path& job_file);

/// Where the annotated pictures of a job lie: JOB-pictures beside it.
std::filesystem::path picture_folder_of(const std::filesystem::path& job_file);

/// Draws the photo with its spots into the job's folder of pictures, and keeps what is needed to draw it
/// again; the name for Provenance::picture. Throws FileError.
std::string draw_for_job(const Reading& reading, const std::filesystem::path& photo,
                         const std::filesystem::path& job_file, const Wording& words = Wording::plain());

/// Draws the pictures that show these spots again, without those that are voided by now. Returns a sentence
/// for each that stays as it was: it is the user's own, or nothing was kept to draw it.
std::vector<std::string> redraw_for_job(const Job& job, const std::vector<int>& spots,
                                        const std::filesystem::path& job_file);

}  // namespace ripplegauge
