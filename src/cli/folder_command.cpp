// `measure FOLDER`: its options, a line or a bar while it runs, and the summary at its end.
#include "folder_command.hpp"

#include <algorithm>
#include <iostream>
#include <optional>

#include "app/folder_run.hpp"
#include "command.hpp"
#include "folder_summary.hpp"
#include "interrupt.hpp"
#include "output_filter.hpp"
#include "progress_bar.hpp"
#include "ripplegauge/core/errors.hpp"
#include "wording_options.hpp"

namespace ripplegauge::cli {

namespace {

std::string spots_text(const AddedReading& added, const Reading& reading) {
  const auto high = static_cast<std::size_t>(std::count_if(
      reading.dents.begin(), reading.dents.end(), [](const Dent& dent) { return dent.kind == Kind::high; }));
  const std::size_t low = reading.dents.size() - high;
  std::string text;
  if (low > 0) text += std::to_string(low) + (low == 1 ? " low" : " lows");
  if (high > 0) text += (text.empty() ? "" : ", ") + std::to_string(high) + (high == 1 ? " high" : " highs");
  if (!added.spots.empty())
    text += added.spots.size() == 1 ? " (spot " + std::to_string(added.spots.front()) + ")"
                                    : " (spots " + std::to_string(added.spots.front()) + " to " +
                                          std::to_string(added.spots.back()) + ")";
  return text;
}

/// What differs from the first photo's folder.
std::string short_name(const FolderOutcome& first, const std::string& name) {
  const std::string folder = first.name.substr(0, first.name.rfind('/') + 1);
  return name.starts_with(folder) ? name.substr(folder.size()) : name;
}

std::string line_of(const FolderOutcome& photo, const Reading& reading, const AddedReading& added) {
  const bool name_has_panel = photo.name.starts_with(photo.panel + "/");
  std::string line = (name_has_panel ? "" : photo.panel + ": ") + photo.name;
  for (const std::string& other : photo.together) line += ", " + short_name(photo, other);
  line += photo.together.empty() ? ": " : ", read together: ";
  if (reading.status == Status::refused)
    line += "not measured: " + reading.refusal->message;
  else
    line += reading.dents.empty() ? "no dent" : spots_text(added, reading);
  if (added.already_photo) line += "; another run has added it meanwhile";
  if (!added.replaced.empty())
    line += "; other values than before: " + std::to_string(added.replaced.size()) + " old voided";
  return line;
}

class Watcher : public FolderRunWatcher {
 public:
  explicit Watcher(const Interrupt& interrupt) : interrupt_(interrupt) {}

  void begins(std::size_t steps) override { progress_.emplace(steps); }
  void measured(const FolderOutcome& photo, const Reading& reading, const AddedReading& added) override {
    progress_->step(line_of(photo, reading, added), reading.status == Status::refused);
  }
  /// By a signal, or because nobody reads any more what is reported.
  bool stop() override { return interrupt_.asked() || reader_left(std::cout); }
  void end() { progress_.reset(); }

 private:
  const Interrupt& interrupt_;
  std::optional<ProgressBar> progress_;
};

FolderRunOptions options_of(const FolderArguments& arguments) {
  FolderRunOptions options;
  options.folder = arguments.folder;
  options.job_file = arguments.job_file;
  options.readings_file = arguments.json_file;
  options.panel_pattern = arguments.panel_pattern;
  options.threads = processors(arguments.threads);
  options.pictures = !arguments.no_pictures;
  options.words = wording_from({}, arguments.photo.profile_file);
  options.sets = arguments.sets;
  options.set_gap_s = arguments.set_gap_s;
  options.said = arguments.photo;
  options.values_file = arguments.values_file;
  options.data_folder = data_dir();
  options.facts = arguments.facts;
  options.rules = default_severity_rules();
  options.program = program_name();
  return options;
}

}  // namespace

void add_folder_options(CLI::App& command, FolderArguments& arguments) {
  const std::string group = "A folder of photos";
  command.add_option("--job", arguments.job_file, "Add the spots to this job file, photo by photo")
      ->type_name("FILE")
      ->group(group);
  command
      .add_option("--panel-pattern", arguments.panel_pattern,
                  "Where the panel stands in a photo's name, such as \"{panel}_#\"; else sub-folders tell it")
      ->type_name("PATTERN")
      ->group(group);
  command
      .add_option("--values", arguments.values_file,
                  "Table (CSV) of what differs from photo to photo: columns photo (a name, a folder, * for "
                  "any characters), board_pitch_mm, board_distance_mm, bar_length_mm, board, panel, set "
                  "(photos of a panel with the same word: one place, read together)")
      ->type_name("FILE")
      ->group(group);
  command
      .add_option("--threads", arguments.threads,
                  "Photos measured at once, or threads for one photo; else\none for each processor")
      ->check(CLI::Range(1, 256))
      ->type_name("N")
      ->group(group);
  command
      .add_flag("--sets", arguments.sets,
                "Read photos of one place as one, the card left where it is: those in a folder of their own "
                "within the panel's (bonnet/dent1/), and those that follow each other closely and agree")
      ->group(group);
  command
      .add_option("--set-gap", arguments.set_gap_s,
                  "With --sets: at most so long from one photo to the next, by the phone's clock")
      ->check(CLI::Range(1, 3600))
      ->type_name("SECONDS")
      ->capture_default_str()
      ->group(group);
  command
      .add_flag("--no-pictures", arguments.no_pictures,
                "Draw no annotated pictures into the folder JOB-pictures")
      ->group(group);
}

int measure_folder(const FolderArguments& arguments) {
  if (arguments.photo.pitch_mm.size() > 1 || arguments.photo.distance_mm.size() > 1)
    throw UsageError(
        "a folder takes one --board-pitch and one --board-distance; measure panel by panel where they "
        "differ");
  const Interrupt interrupt;
  Watcher watcher(interrupt);
  const FolderSummary summary = run_folder(options_of(arguments), watcher);
  watcher.end();
  if (summary.measured + summary.left > 0) std::cout << "\n";
  std::cout << summary_text(summary);
  if (interrupt.asked()) {
    if (!arguments.job_file.empty()) std::cout << "\nStopped. The same command goes on with what is left.\n";
    std::cout << std::flush;
    interrupt.pass_on();
  }
  return refused_count(summary) > 0 ? exit_refused : exit_ok;
}

}  // namespace ripplegauge::cli
