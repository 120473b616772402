// `job add`: readings into a job, with their pictures.
#include <algorithm>
#include <filesystem>
#include <iostream>
#include <utility>

#include "app/clock.hpp"
#include "app/job_parts.hpp"
#include "app/job_pictures.hpp"
#include "command.hpp"
#include "files/job_file.hpp"
#include "files/photo_folder.hpp"
#include "job_actions.hpp"
#include "output_filter.hpp"
#include "photo/file_hash.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "terminal.hpp"
#include "words/text.hpp"

namespace ripplegauge::cli {
namespace {

/// A reading with what goes into the job beside it.
struct ReadingToAdd {
  std::string panel;
  Reading reading;
  std::string picture;
};

/// Of a vehicle's file the panels are its own, else all go to the panel that was said.
std::vector<PanelReadings> panels_in(const std::string& file, const std::string& said) {
  if (!said.empty()) return {{said, read_readings(file)}};
  if (auto panels = read_vehicle(file)) return std::move(*panels);
  throw UsageError("which panel do the readings of " + file + " belong to? Give --panel");
}

ReadingToAdd reading_to_add(const JobArguments& arguments, const std::string& file, const std::string& panel,
                            Reading reading, const Wording& words) {
  const std::filesystem::path photo = photo_beside(reading.photo.name, file);
  if (reading.photo.sha256.empty() && !photo.empty()) reading.photo.sha256 = sha256_of_file(photo);
  for (PhotoOfSet& one : reading.set)
    if (const auto other = photo_beside(one.photo.name, file); one.photo.sha256.empty() && !other.empty())
      one.photo.sha256 = sha256_of_file(other);
  std::string picture;
  if (arguments.draw && photo.empty())
    warn(reading.photo.name + ": the photo is not there any more; nothing is drawn");
  else if (arguments.draw)
    picture = draw_for_job(reading, photo, arguments.file, words);
  return {panel, std::move(reading), picture};
}

std::vector<ReadingToAdd> readings_to_add(const JobArguments& arguments) {
  const Wording words = wording_from(arguments.wording, {});
  std::vector<ReadingToAdd> all;
  for (const std::string& file : arguments.readings)
    for (PanelReadings& panel : panels_in(file, arguments.panel))
      for (Reading& reading : panel.readings)
        all.push_back(reading_to_add(arguments, file, panel.panel, std::move(reading), words));
  if (!arguments.pictures.empty() && arguments.pictures.size() != all.size())
    throw UsageError("--picture stands " + std::to_string(arguments.pictures.size()) + " times for " +
                     std::to_string(all.size()) + " readings; give one for each, in the same order");
  for (std::size_t i = 0; i < arguments.pictures.size(); ++i) {
    all[i].picture = relative_to_job(arguments.pictures[i], arguments.file);
    picture_of_job(all[i].picture, arguments.file);  // refuses one that no quote would show
  }
  return all;
}

void report_added(const Job& job, const std::string& panel, const Reading& reading,
                  const AddedReading& added) {
  if (added.already_photo) {
    const JobPhoto& photo = *photo_with_id(job, *added.already_photo);
    warn(reading.photo.name + " is in the job already, as photo " + std::to_string(photo.id) + " (" +
         photo.name + ", panel " + photo.panel +
         "); nothing is added. Void its spots first to add it again.");
    return;
  }
  std::cout << one_line(panel + ": " + reading.photo.name) << ": ";
  if (reading.status == Status::refused)
    std::cout << "could not be measured" << (reading.refusal ? ": " + reading.refusal->message : "") << "\n";
  else if (added.spots.empty())
    std::cout << "no dent\n";
  else
    std::cout << "spot " << numbers(added.spots) << "\n";
  if (reading.photo.sha256.empty())
    warn(reading.photo.name +
         ": the reading has no hash and the photo is not there; the same photo under "
         "another name would not be noticed");
}

/// A picture that was drawn for a photo which is in the job already shows all that it ever gave.
std::vector<int> voided_before(const Job& job, const std::vector<AddedReading>& added) {
  std::vector<int> ids;
  for (const JobSpot& spot : job.spots)
    for (const AddedReading& one : added)
      if (spot.voided && one.already_photo && spot.photo == one.already_photo) ids.push_back(spot.id);
  return ids;
}

}  // namespace

int run_add(const JobArguments& arguments) {
  const std::vector<ReadingToAdd> readings = readings_to_add(arguments);
  const SeverityRules rules = default_severity_rules();
  std::vector<AddedReading> added;
  Job after;
  change_job(arguments.file, JobMustBe::either, [&](Job& job) {
    for (const ReadingToAdd& one : readings) add_facts(panel_named(job, one.panel).facts, arguments.facts);
    for (const ReadingToAdd& one : readings)
      added.push_back(
          add_judged_reading(job, one.panel, one.reading, {program_name(), now_utc(), one.picture}, rules));
    after = job;
    // A photo that is there already is no reason to leave an empty panel behind.
    return !arguments.facts.empty() || std::any_of(added.begin(), added.end(), [](const AddedReading& one) {
      return !one.already_photo.has_value();
    });
  });
  if (const auto ids = voided_before(after, added); arguments.draw && !ids.empty()) redraw(arguments, ids);
  bool all_refused = true;
  for (std::size_t i = 0; i < readings.size(); ++i) {
    report_added(after, readings[i].panel, readings[i].reading, added[i]);
    all_refused = all_refused && readings[i].reading.status == Status::refused;
  }
  return all_refused ? exit_refused : exit_ok;
}

}  // namespace ripplegauge::cli
