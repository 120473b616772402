// `job list`: panels, spots, what was not measured, what is to be decided.
#include <algorithm>
#include <iostream>

#include "command.hpp"
#include "core/joined.hpp"
#include "files/atomic_write.hpp"
#include "files/job_file.hpp"
#include "files/price_file.hpp"
#include "job_actions.hpp"
#include "option_hints.hpp"
#include "output_filter.hpp"
#include "quote/counts.hpp"
#include "quote/display.hpp"
#include "quote/quote_text.hpp"
#include "terminal.hpp"
#include "words/text.hpp"

namespace ripplegauge::cli {
namespace {

/// The spot that stands for this one, seen in another photo as well; nothing for one that stands for itself.
std::optional<int> stands_for(const std::vector<CountedSpot>& counted, int id) {
  for (const CountedSpot& one : counted)
    if (std::find(one.also_seen.begin(), one.also_seen.end(), id) != one.also_seen.end()) return one.id;
  return std::nullopt;
}

std::string spot_text(const Job& job, const JobSpot& spot, std::optional<int> counted_as) {
  const Display plain({"XXX", 2}, "");
  std::string text = padded_left(std::to_string(spot.id), 5) + "  " +
                     padded_right(plain.millimetres(spot.diameter_mm), 23) +
                     padded_right(to_string(spot.kind), 6);
  std::vector<std::string> parts;
  if (!spot.severity.empty()) parts.push_back(spot.severity);
  if (spot.beyond_pulling) parts.emplace_back("beyond pulling");
  if (spot.measured)
    parts.push_back("CHANGED BY HAND (measured: " + plain.millimetres(spot.measured->diameter_mm) +
                    (spot.measured->severity.empty() ? "" : ", " + spot.measured->severity) + ")");
  for (const std::string& fact : spot.facts) parts.push_back(fact);
  parts.push_back(spot.by_hand() ? "by hand" : photo_names(job.photos, *spot.photo));
  if (spot.voided)
    parts.push_back("VOID: " + spot.voided->reason);
  else if (counted_as)
    parts.emplace_back("counted as spot " + std::to_string(*counted_as));
  const std::vector<std::string> lines = wrapped(joined(parts), 44);
  for (std::size_t i = 0; i < lines.size(); ++i)
    text += (i == 0 ? "" : std::string(36, ' ')) + lines[i] + "\n";
  return text;
}

void list_panel(const Job& job, const JobPanel& panel, const std::vector<CountedSpot>& counted, bool all) {
  std::string heading = panel.name;
  for (std::size_t i = 0; i < panel.facts.size(); ++i) heading += (i == 0 ? ": " : ", ") + panel.facts[i];
  std::cout << "\n" << heading << "\n";
  if (!panel.notes.empty()) std::cout << "  " << panel.notes << "\n";
  for (const JobSpot& spot : job.spots) {
    if (spot.panel != panel.name || (spot.voided && !all)) continue;
    std::cout << spot_text(job, spot, stands_for(counted, spot.id));
  }
  for (const JobItem& item : job.items)
    if (item.panel == panel.name) std::cout << "       " << item.count << " x " << item.name << "\n";
}

void list_lines(const char* heading, const std::vector<std::string>& lines) {
  if (!lines.empty()) std::cout << "\n" << heading << "\n";
  for (const std::string& text : lines)
    for (const std::string& line : wrapped(text, 76)) std::cout << "  " << line << "\n";
}

void list_not_measured(const Job& job) {
  const NotMeasured missing = not_measured_in(job);
  std::vector<std::string> lines;
  for (const JobPhoto& photo : missing.photos)
    lines.push_back("photo " + std::to_string(photo.id) + ", " +
                    (photo.panel.empty() ? "" : photo.panel + ", ") + photo.name +
                    (photo.refusal ? ": " + photo.refusal->message + " " + photo.refusal->remedy : ""));
  list_lines("Photos that could not be measured", lines);
  list_lines("Panels of which nothing was measured", missing.panels);
  if (missing.photos_to_do > 0)
    std::cout << "\n" << missing.photos_to_do << " photos of a stopped run are still to be measured\n";
}

void list_warnings(const Job& job) {
  std::vector<std::string> lines;
  for (const JobWarning& warning : warnings_in(job)) {
    std::vector<std::string> about;
    for (const int id : warning.photos) about.push_back(photo_with_id(job, id)->name);
    for (const int id : warning.spots) about.push_back("spot " + std::to_string(id));
    lines.push_back(warning.message + " (" + joined(about) + ")");
  }
  list_lines("Warnings of the photos", lines);
}

void list_changes(const Job& job) {
  std::vector<std::string> lines;
  const Display plain({"XXX", 2}, "");
  for (const JobChange& change : job.changes) lines.push_back(change_text(change, plain));
  list_lines("Changed by hand", lines);
}

}  // namespace

int run_list(const JobArguments& arguments) {
  const Job job = read_job(arguments.file);
  std::vector<SizeBand> bands = plain_bands();
  SizeMeasure size_by = SizeMeasure::diameter;
  if (!arguments.prices.empty()) {
    const PriceTable table = read_prices(arguments.prices);
    bands = table.bands;
    size_by = table.size_by;
  }
  if (!arguments.json.empty()) write_atomically(arguments.json, job_list_to_json(job));
  const CountedOnce once = count_once(job);
  const std::vector<CountedSpot>& counted = once.spots;
  std::cout << one_line(job.vehicle.empty() ? arguments.file : job.vehicle) << "\n";
  if (!job.notes.empty()) std::cout << job.notes << "\n";
  for (const JobPanel& panel : job.panels) list_panel(job, panel, counted, arguments.all);
  for (const JobItem& item : job.items)
    if (item.panel.empty()) std::cout << "\n" << item.count << " x " << item.name << ", whole job\n";
  list_not_measured(job);
  list_warnings(job);
  list_lines("To decide", once.questions);
  std::cout << question_hint(once.questions);
  if (arguments.all) list_changes(job);
  const auto voided = std::count_if(job.spots.begin(), job.spots.end(),
                                    [](const JobSpot& spot) { return spot.voided.has_value(); });
  if (voided > 0 && !arguments.all) std::cout << "\n" << voided << " voided, not shown; --all shows them\n";
  if (!job.panels.empty()) std::cout << "\n" << bar_chart(count_spots(job, counted, bands, size_by));
  return exit_ok;
}

}  // namespace ripplegauge::cli
