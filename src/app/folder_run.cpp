// A folder of photos into a job: what is new is measured on several threads and kept photo by photo, in the
// order of names, so that numbers of spots do not depend on the number of threads.
#include "app/folder_run.hpp"

#include <algorithm>
#include <deque>
#include <filesystem>
#include <functional>
#include <iterator>
#include <map>
#include <utility>

#include "app/clock.hpp"
#include "app/job_parts.hpp"
#include "app/job_pictures.hpp"
#include "core/expects.hpp"
#include "files/atomic_write.hpp"
#include "files/job_file.hpp"
#include "files/photo_folder.hpp"
#include "files/photo_values_file.hpp"
#include "measure/ordered_workers.hpp"
#include "photo/file_hash.hpp"
#include "photo_reading.hpp"
#include "photo_sets.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/core/findings.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "words/text.hpp"

namespace ripplegauge {

namespace {

namespace fs = std::filesystem;

/// The job, in its file or, where none was named, in memory alone.
class JobStore {
 public:
  explicit JobStore(const fs::path& file) : file_(file) {
    // Written once before the first photo: a file that cannot be written should not be found out an hour
    // later.
    if (!file_.empty())
      change_job(file_, JobMustBe::either, [this](Job& job) {
        job_ = job;
        return true;
      });
  }
  const Job& job() const { return job_; }

  void change(const std::function<void(Job&)>& change) {
    const auto change_and_keep = [&](Job& job) {
      change(job);
      job_ = job;
      return true;
    };
    if (file_.empty())
      change(job_);
    else
      change_job(file_, JobMustBe::there, change_and_keep);
  }

 private:
  fs::path file_;
  Job job_;
};

/// What goes into the job as one, with the pictures beside it.
struct DrawnReading {
  PhotoReading read;
  std::vector<std::string> pictures;  ///< of each photo; empty: none
};

struct MeasuredSet {
  std::vector<DrawnReading> readings;
  std::vector<std::string> remarks;
};

std::string shown(const FolderPhoto& photo) { return printable(photo.name); }

std::string shown(const std::vector<const FolderPhoto*>& photos) {
  std::string names;
  for (const FolderPhoto* photo : photos) names += (names.empty() ? "" : ", ") + shown(*photo);
  return names;
}

class FolderRun {
 public:
  FolderRun(const FolderRunOptions& options, FolderRunWatcher& watcher)
      : options_(options),
        watcher_(watcher),
        values_(options.values_file.empty() ? std::vector<PhotoValues>{}
                                            : read_photo_values(options.values_file)),
        photos_(photos_there()),
        store_(options.job_file) {
    from_.program = options.program;
  }

  FolderSummary run() {
    sort_out();
    say_what_is_to_do();
    measure_all();
    if (!options_.readings_file.empty()) write_json();
    summary_.job = store_.job();
    return std::move(summary_);
  }

 private:
  bool has_job() const { return !options_.job_file.empty(); }

  std::vector<FolderPhoto> photos_there() {
    PhotoFolderOptions options{options_.panel_pattern, {}};
    if (has_job()) options.leave_out = picture_folder_of(options_.job_file);
    std::vector<FolderPhoto> photos = photos_in(options_.folder, options);
    if (photos.empty())
      throw FileError(options_.folder.string(), "holds no photos; put JPEG, PNG or HEIC files into it");
    for (FolderPhoto& photo : photos) take_values(photo);
    // Wrong values are found out before a job is begun and the first photo measured.
    for (const FolderPhoto& photo : photos) request_of(photo);
    return photos;
  }

  /// The panel that the table gives goes before what the name says.
  void take_values(FolderPhoto& photo) {
    const auto values = values_of_photo(values_, photo.name);
    if (values && !values->panel.empty()) photo.panel = values->panel;
  }

  /// By what was said of all photos, and what the table says of this one.
  const MeasureRequest& request_of(const FolderPhoto& photo) {
    SaidOfPhotos said = options_.said;
    if (const auto values = values_of_photo(values_, photo.name)) {
      if (values->board_pitch_mm) {
        said.pitch_mm = {*values->board_pitch_mm};
        said.board_file.clear();
      }
      if (values->board_distance_mm) said.distance_mm = {*values->board_distance_mm};
      if (values->bar_length_mm) said.bar_mm = *values->bar_length_mm;
      if (!values->board_file.empty()) said.board_file = values->board_file;
    }
    const auto alike = [&](const auto& known) {
      return known.first.pitch_mm == said.pitch_mm && known.first.distance_mm == said.distance_mm &&
             known.first.bar_mm == said.bar_mm && known.first.board_file == said.board_file;
    };
    auto found = std::find_if(requests_.begin(), requests_.end(), alike);
    if (found == requests_.end()) {
      requests_.emplace_back(said, request_for(said, 0, 1, options_.data_folder));
      found = std::prev(requests_.end());
    }
    return found->second;
  }

  /// Where its spots come from, as far as it is known before it is measured. A set with another photo is
  /// another measurement, whatever came of it.
  Provenance provenance_of(const FolderPhoto& photo, const FolderSet& set) {
    Provenance from = from_;
    from.measured_with = values_text(request_of(photo));
    const char* separator = ", with photos ";
    for (const FolderPhoto* other : set.photos)
      if (other != &photo)
        from.measured_with += std::exchange(separator, ", ") + sha256_.at(other).substr(0, short_digits);
    return from;
  }

  /// What is measured now, what was measured before, and what is there twice.
  void sort_out() {
    std::map<std::string, const FolderPhoto*> seen;
    std::vector<const FolderPhoto*> wanted;
    for (FolderPhoto& photo : photos_) {
      std::string sha256;
      try {
        sha256 = sha256_of_file(photo.file);
      } catch (const FileError&) {
        // Measuring it will say why.
      }
      if (const auto [first, is_new] = seen.emplace(sha256, &photo); !sha256.empty() && !is_new) {
        summary_.remarks.push_back(shown(photo) + " is the same photo as " + shown(*first->second) +
                                   " and was left out.");
        continue;
      }
      order_[sha256] = order_.size();
      sha256_[&photo] = sha256;
      if (photo.panel.empty() && has_job()) {
        refuse_without_panel(photo, sha256);
        continue;
      }
      if (photo.panel.empty()) photo.panel = "without a panel";
      wanted.push_back(&photo);
    }
    for (FolderSet& set : sets_of(wanted, set_rules(), summary_.remarks)) {
      if (is_known(set))
        for (const FolderPhoto* photo : set.photos)
          take_as_known(*photo, *photo_with_hash(store_.job(), sha256_.at(photo)));
      else
        to_do_.push_back(std::move(set));
    }
  }

  SetRules set_rules() const {
    SetRules rules;
    rules.word = [this](const FolderPhoto& photo) {
      const auto values = values_of_photo(values_, photo.name);
      return values ? values->set : "";
    };
    // Where a pattern tells the panel, a folder may hold anything.
    rules.by_folder = options_.sets && options_.panel_pattern.empty();
    if (options_.sets && options_.set_gap_s > 0) rules.gap = std::chrono::seconds(options_.set_gap_s);
    return rules;
  }

  bool is_known(const FolderSet& set) {
    return std::all_of(set.photos.begin(), set.photos.end(), [&](const FolderPhoto* photo) {
      const JobPhoto* known = photo_with_hash(store_.job(), sha256_.at(photo));
      return known != nullptr && is_up_to_date(*known, provenance_of(*photo, set));
    });
  }

  /// It goes into the job as a refused photo, so that a quote says that something is missing.
  void refuse_without_panel(const FolderPhoto& photo, const std::string& sha256) {
    Reading reading;
    reading.status = Status::refused;
    reading.refusal = Refusal{
        code_of(PhotoFinding::no_panel), "Nobody can tell which panel it shows: " + photo.trouble + ".",
        "Rename it, move it into a folder with the panel's name, or say how names tell the panel."};
    reading.photo.name = photo.name;
    reading.photo.sha256 = sha256;
    summary_.photos.push_back({shown(photo), "", Status::refused, reading.refusal, {}, false});
    Provenance from = from_;
    from.added = now_utc();
    store_.change([&](Job& job) { add_reading(job, "", reading, from); });
  }

  /// Until a photo is measured the job says that it is missing, however the run ends.
  void say_what_is_to_do() {
    store_.change([&](Job& job) { job.photos_to_do = static_cast<int>(photos_to_do()); });
  }

  std::size_t photos_to_do() const {
    std::size_t count = 0;
    for (const FolderSet& set : to_do_) count += set.photos.size();
    return count;
  }

  void take_as_known(const FolderPhoto& photo, const JobPhoto& known) {
    summary_.photos.push_back({shown(photo), known.panel, known.status, known.refusal, {}, true});
    kept_.push_back(known.sha256);
    if (!same_name(known.panel, photo.panel))
      summary_.remarks.push_back(shown(photo) + " is in the job on panel " + known.panel + ", not " +
                                 photo.panel + ", and stays there.");
  }

  void measure_all() {
    for (const FolderSet& set : to_do_)
      for (const FolderPhoto* photo : set.photos) request_by_photo_[photo] = &request_of(*photo);
    watcher_.begins(to_do_.size());
    workers_.emplace(to_do_.size(), static_cast<std::size_t>(options_.threads),
                     [this](std::size_t i) { return measured(to_do_[i]); });
    std::size_t next = 0;
    while (!workers_->done() && !(summary_.stopped = watcher_.stop())) {
      constexpr std::chrono::milliseconds patience{100};  // how soon a wish to stop is noticed
      if (auto set = workers_->next(patience)) keep(to_do_[next++], std::move(*set));
    }
    if (summary_.stopped)
      for (auto& [i, set] : workers_->finished_ahead()) keep(to_do_[i], std::move(set));
    summary_.left = photos_to_do() - summary_.measured;
  }

  /// On a thread of its own.
  MeasuredSet measured(const FolderSet& set) const {
    std::vector<const MeasureRequest*> requests;
    for (const FolderPhoto* photo : set.photos) requests.push_back(request_by_photo_.at(photo));
    ReadSet read = read_set(set, requests);
    MeasuredSet result;
    if (!read.remark.empty()) result.remarks.push_back(shown(set.photos) + " " + read.remark);
    for (PhotoReading& one : read.readings) {
      std::vector<std::string> pictures = drawn(one, result.remarks);
      result.readings.push_back({std::move(one), std::move(pictures)});
    }
    return result;
  }

  /// Of each photo that the reading stands on.
  std::vector<std::string> drawn(const PhotoReading& one, std::vector<std::string>& remarks) const {
    std::vector<std::string> pictures(one.photos.size());
    if (!has_job() || !options_.pictures || one.reading.status != Status::measured) return pictures;
    for (std::size_t i = 0; i < one.photos.size(); ++i) {
      if (!one.reading.set.empty() && !one.reading.set[i].left_out.empty()) continue;
      try {
        pictures[i] = draw_for_job(one.views[i], one.photos[i]->file, options_.job_file, options_.words);
      } catch (const std::exception& error) {
        remarks.push_back(shown(*one.photos[i]) + " has no annotated picture: " + error.what());
      }
    }
    return pictures;
  }

  void keep(const FolderSet& set, MeasuredSet measured) {
    summary_.remarks.insert(summary_.remarks.end(), measured.remarks.begin(), measured.remarks.end());
    for (DrawnReading& one : measured.readings) keep(set, one);
  }

  void keep(const FolderSet& set, DrawnReading& measured) {
    Reading& reading = measured.read.reading;
    AddedReading added;
    try {
      added = add(set, measured);
    } catch (const UsageError& error) {  // numbers that no job takes
      reading.status = Status::refused;
      reading.refusal = Refusal{code_of(PhotoFinding::senseless),
                                std::string("The measurement makes no sense: ") + error.what() + ".",
                                "Photograph again, from a little farther round."};
      reading.dents.clear();
      added = add(set, measured);
    }
    watcher_.measured(add_outcomes(measured.read), reading, added);
    summary_.measured += measured.read.photos.size();
    readings_.push_back(std::move(reading));
  }

  /// One a photo; returns that of the first one that the reading stands on.
  FolderOutcome add_outcomes(const PhotoReading& read) {
    std::vector<FolderOutcome> outcomes;
    std::optional<std::size_t> bearer;
    for (std::size_t i = 0; i < read.photos.size(); ++i) {
      const Reading& reading = read.reading;
      FolderOutcome outcome{
          shown(*read.photos[i]), read.photos[i]->panel, reading.status, reading.refusal, {}, false};
      const bool left_out = !reading.set.empty() && !reading.set[i].left_out.empty();
      if (left_out && reading.status != Status::refused) {
        outcome.left_out = true;
        outcome.status = Status::refused;
      }
      if (!left_out && bearer) outcomes[*bearer].together.push_back(outcome.name);
      if (!left_out && !bearer) bearer = i;
      outcomes.push_back(std::move(outcome));
    }
    FolderOutcome& first = outcomes[bearer.value_or(0)];
    first.warnings = read.reading.warnings;
    summary_.photos.insert(summary_.photos.end(), outcomes.begin(), outcomes.end());
    return first;
  }

  AddedReading add(const FolderSet& set, DrawnReading& measured) {
    const PhotoReading& read = measured.read;
    AddedReading added;
    Reading named = read.reading;
    Provenance from;
    for (std::size_t i = 0; i < read.photos.size(); ++i) {
      const FolderPhoto& photo = *read.photos[i];
      const Provenance of_photo = provenance_of(photo, set);
      from.set.push_back({measured.pictures[i], of_photo.measured_with, job_setup(read.views[i].setup)});
      const bool bears = read.photos.size() == 1 || read.reading.set[i].photo.name == read.reading.photo.name;
      // Whoever reads a quote knows the vehicle's folder, not the disk.
      if (read.photos.size() > 1) named.set[i].photo.name = photo.name;
      if (!bears) continue;
      named.photo.name = photo.name;
      from.program = of_photo.program;
      from.measured_with = of_photo.measured_with;
      from.picture = measured.pictures[i];
    }
    from.added = now_utc();
    const std::string& panel = read.photos.front()->panel;
    store_.change([&](Job& job) {
      const PanelFacts facts = facts_of_panel(job, panel, options_.facts);
      for (Reading* reading : {&measured.read.reading, &named}) grade(*reading, facts, options_.rules);
      added = add_judged_reading(job, panel, named, from, options_.rules, options_.facts);
      job.photos_to_do = std::max(0, job.photos_to_do - static_cast<int>(read.photos.size()));
    });
    return added;
  }

  /// What this run measured, and of what an earlier one wrote there the photos that needed no measuring now.
  void write_json() {
    if (!kept_.empty() && fs::exists(options_.readings_file)) take_earlier_readings();
    std::stable_sort(readings_.begin(), readings_.end(), [this](const Reading& a, const Reading& b) {
      return order_[a.photo.sha256] < order_[b.photo.sha256];
    });
    write_atomically(options_.readings_file, reading_list_to_json(readings_));
  }

  void take_earlier_readings() {
    try {
      for (Reading& reading : read_readings(options_.readings_file))
        if (std::find(kept_.begin(), kept_.end(), reading.photo.sha256) != kept_.end())
          readings_.push_back(std::move(reading));
    } catch (const FileError& error) {
      summary_.remarks.push_back(std::string("Readings of an earlier run were not kept: ") + error.what());
    }
  }

  const FolderRunOptions& options_;
  FolderRunWatcher& watcher_;
  const std::vector<PhotoValues> values_;
  std::deque<std::pair<SaidOfPhotos, MeasureRequest>> requests_;  ///< one for each set of values
  std::map<const FolderPhoto*, const MeasureRequest*> request_by_photo_;
  std::vector<FolderPhoto> photos_;
  JobStore store_;
  Provenance from_;
  static constexpr std::size_t short_digits = 8;  ///< of a hash: they tell apart what one folder holds
  std::map<const FolderPhoto*, std::string> sha256_;
  std::vector<FolderSet> to_do_;
  std::map<std::string, std::size_t> order_;  ///< of the photos' hashes in the folder
  std::vector<std::string> kept_;             ///< hashes of what an earlier run measured
  std::vector<Reading> readings_;
  FolderSummary summary_;
  std::optional<OrderedWorkers<MeasuredSet>> workers_;  ///< last: they end before what they use
};

}  // namespace

int refused_count(const FolderSummary& summary) {
  return static_cast<int>(std::count_if(
      summary.photos.begin(), summary.photos.end(),
      [](const FolderOutcome& photo) { return photo.status == Status::refused && !photo.left_out; }));
}

FolderSummary run_folder(const FolderRunOptions& options, FolderRunWatcher& watcher) {
  expects(options.threads >= 1, "a thread to measure on");
  return FolderRun(options, watcher).run();
}

}  // namespace ripplegauge
