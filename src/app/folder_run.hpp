// All photos of a vehicle at once: a folder of photos is measured into a job, photo by photo.
#pragma once

#include <filesystem>
#include <optional>
#include <string>
#include <vector>

#include "app/request.hpp"
#include "quote/job.hpp"
#include "severity/severity.hpp"

namespace ripplegauge {

/// Time to turn the board and walk round it, and less than to move the card, clean the next place and set up.
constexpr int usual_set_gap_s = 90;

struct FolderRunOptions {
  std::filesystem::path folder;
  std::filesystem::path job_file;  ///< goes on with it if it is there; empty: the job is kept in memory alone
  std::filesystem::path readings_file;  ///< all readings as JSON, at the end; empty: none
  std::string panel_pattern;            ///< see PhotoFolderOptions
  int threads = 1;                      ///< photos measured at once; the job is the same on any number
  bool pictures = true;                 ///< annotated pictures beside the job file
  Wording words = Wording::plain();     ///< of those pictures
  /// Photos of one place are read as one: those in a folder of their own within the panel's, and those that
  /// follow each other within `set_gap_s`, as EXIF has it, if they agree. What the table calls a set always
  /// is.
  bool sets = false;
  int set_gap_s = usual_set_gap_s;    ///< 0: the clock joins nothing
  SaidOfPhotos said;                  ///< of all photos
  std::filesystem::path values_file;  ///< table of what differs from photo to photo; empty: none
  std::filesystem::path data_folder;  ///< what comes with the program
  PanelFacts facts;                   ///< of all panels, where the job says nothing of one
  SeverityRules rules;
  std::string program;  ///< Provenance::program
};

/// What became of one photo of the folder, in this run or an earlier one.
struct FolderOutcome {
  std::string name, panel;
  Status status = Status::measured;
  std::optional<Refusal> refusal;
  std::vector<Warning> warnings;
  bool before = false;                  ///< measured in an earlier run
  std::vector<std::string> together{};  ///< photos that were read as one with it, which bears the spots
  bool left_out = false;                ///< its set was read without it
};

struct FolderSummary {
  std::vector<FolderOutcome> photos;  ///< in the order of their names
  std::vector<std::string> remarks;   ///< what else somebody should know, one sentence each
  std::size_t measured = 0;           ///< photos that this run measured
  std::size_t left = 0;               ///< photos that were left unmeasured, since the run was stopped
  bool stopped = false;
  Job job;
};

int refused_count(const FolderSummary& summary);

/// What a front end hears of a run, always on the thread that began it.
class FolderRunWatcher {
 public:
  virtual ~FolderRunWatcher() = default;
  /// Before the first photo: how many photos and sets of photos will be measured.
  virtual void begins(std::size_t steps) = 0;
  /// A photo is measured and in the job, or a set. `name` may be shown as it is.
  virtual void measured(const FolderOutcome& photo, const Reading& reading, const AddedReading& added) = 0;
  /// Asked ten times a second: whether to end with what has been measured so far.
  virtual bool stop() = 0;
};

/// Measures what has not been measured yet. A photo that fails is an outcome, whatever is wrong with it.
/// Throws FileError where the folder, the job or the file of readings cannot be used, UsageError for a
/// request that makes no sense.
FolderSummary run_folder(const FolderRunOptions& options, FolderRunWatcher& watcher);

}  // namespace ripplegauge
