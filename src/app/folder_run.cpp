// A folder of photos into a job: what is new is measured on several threads and kept photo by photo, in the
// order of names, so that numbers of spots do not depend on the number of threads.
#include "ripplegauge/app/folder_run.hpp"

#include <algorithm>
#include <deque>
#include <filesystem>
#include <functional>
#include <iterator>
#include <map>

#include "ripplegauge/app/clock.hpp"
#include "ripplegauge/app/job_parts.hpp"
#include "ripplegauge/app/memory.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/core/expects.hpp"
#include "ripplegauge/core/findings.hpp"
#include "ripplegauge/files/atomic_write.hpp"
#include "ripplegauge/files/job_file.hpp"
#include "ripplegauge/files/photo_folder.hpp"
#include "ripplegauge/files/photo_values_file.hpp"
#include "ripplegauge/json/read_bytes.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "ripplegauge/measure/ordered_workers.hpp"
#include "ripplegauge/photo/file_hash.hpp"
#include "ripplegauge/photo/photo.hpp"
#include "ripplegauge/words/text.hpp"

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

struct MeasuredPhoto {
  Reading reading;
  std::string picture;  ///< Provenance::picture
  std::string remark;   ///< why there is no picture
};

/// "FILE: what is wrong; what to do" as a refusal.
Refusal refusal_from(const FileError& error) {
  std::string text = std::string(error.what()).substr(error.file().size() + 2);
  const std::size_t cut = text.rfind("; ");
  Refusal refusal{code_of(PhotoFinding::file_unreadable), "The file " + text.substr(0, cut) + ".",
                  "Copy it from the phone again."};
  if (cut != std::string::npos) {
    refusal.remedy = text.substr(cut + 2) + ".";
    if (refusal.remedy[0] >= 'a' && refusal.remedy[0] <= 'z')
      refusal.remedy[0] = static_cast<char>(refusal.remedy[0] - 'a' + 'A');
  }
  return refusal;
}

/// Never throws for one photo's sake. A UsageError is about all of them and passes.
Reading reading_of(const FolderPhoto& photo, const MeasureRequest& request) {
  constexpr std::size_t most_bytes = 400'000'000;  // PhotoLimits::max_megabytes
  Reading reading;
  const auto refuse = [&](const Refusal& refusal) {
    reading.status = Status::refused;
    reading.refusal = refusal;
  };
  std::string sha256;
  try {
    const std::string bytes = read_bytes(photo.file, most_bytes);
    sha256 = sha256_of_bytes(bytes);  // of what is measured, even if the file is changed meanwhile
    reading = measure(decode_photo(bytes, photo.file.string()), request).reading;
  } catch (const UsageError&) {
    throw;
  } catch (const FileError& error) {
    refuse(refusal_from(error));
  } catch (const std::exception& error) {
    if (is_out_of_memory(error))
      refuse({code_of(PhotoFinding::out_of_memory), "The photo needs more memory than there is.",
              "Measure fewer photos at once, or set the phone to a smaller size."});
    else
      refuse({code_of(PhotoFinding::unexpected),
              std::string("The program failed on this photo: ") + error.what() + ".",
              "Photograph again; if it fails again, keep the photo for whoever mends the program."});
  }
  reading.photo.name = photo.file.string();
  reading.photo.sha256 = sha256;
  return reading;
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

  /// Where its spots come from, as far as it is known before it is measured.
  Provenance provenance_of(const FolderPhoto& photo) {
    Provenance from = from_;
    from.measured_with = values_text(request_of(photo));
    return from;
  }

  static std::string shown(const FolderPhoto& photo) { return printable(photo.name); }

  /// What is measured now, what was measured before, and what is there twice.
  void sort_out() {
    std::map<std::string, const FolderPhoto*> seen;
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
      if (photo.panel.empty() && has_job()) {
        refuse_without_panel(photo, sha256);
        continue;
      }
      if (photo.panel.empty()) photo.panel = "without a panel";
      const JobPhoto* known = photo_with_hash(store_.job(), sha256);
      if (known != nullptr && is_up_to_date(*known, provenance_of(photo)))
        take_as_known(photo, *known);
      else
        to_do_.push_back(&photo);
    }
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
    store_.change([&](Job& job) { job.photos_to_do = static_cast<int>(to_do_.size()); });
  }

  void take_as_known(const FolderPhoto& photo, const JobPhoto& known) {
    summary_.photos.push_back({shown(photo), known.panel, known.status, known.refusal, {}, true});
    kept_.push_back(known.sha256);
    if (!same_name(known.panel, photo.panel))
      summary_.remarks.push_back(shown(photo) + " is in the job on panel " + known.panel + ", not " +
                                 photo.panel + ", and stays there.");
  }

  void measure_all() {
    for (const FolderPhoto* photo : to_do_) request_by_photo_[photo] = &request_of(*photo);
    watcher_.begins(to_do_.size());
    workers_.emplace(to_do_.size(), static_cast<std::size_t>(options_.threads),
                     [this](std::size_t i) { return measured(*to_do_[i]); });
    while (!workers_->done() && !(summary_.stopped = watcher_.stop())) {
      constexpr std::chrono::milliseconds patience{100};  // how soon a wish to stop is noticed
      if (auto photo = workers_->next(patience)) keep(*to_do_[summary_.measured], std::move(*photo));
    }
    if (summary_.stopped)
      for (auto& [i, photo] : workers_->finished_ahead()) keep(*to_do_[i], std::move(photo));
    summary_.left = to_do_.size() - summary_.measured;
  }

  /// On a thread of its own.
  MeasuredPhoto measured(const FolderPhoto& photo) const {
    MeasuredPhoto result{reading_of(photo, *request_by_photo_.at(&photo)), "", ""};
    if (!has_job() || !options_.pictures || result.reading.status != Status::measured) return result;
    try {
      result.picture = draw_for_job(result.reading, photo.file, options_.job_file);
    } catch (const std::exception& error) {
      result.remark = shown(photo) + " has no annotated picture: " + error.what();
    }
    return result;
  }

  void keep(const FolderPhoto& photo, MeasuredPhoto measured) {
    AddedReading added;
    try {
      added = add(photo, measured);
    } catch (const UsageError& error) {  // numbers that no job takes
      Reading& reading = measured.reading;
      reading.status = Status::refused;
      reading.refusal = Refusal{code_of(PhotoFinding::senseless),
                                std::string("The measurement makes no sense: ") + error.what() + ".",
                                "Photograph again, from a little farther round."};
      reading.dents.clear();
      added = add(photo, measured);
    }
    const Reading& reading = measured.reading;
    if (!measured.remark.empty()) summary_.remarks.push_back(measured.remark);
    summary_.photos.push_back(
        {shown(photo), photo.panel, reading.status, reading.refusal, reading.warnings, false});
    ++summary_.measured;
    watcher_.measured(summary_.photos.back(), reading, added);
    readings_.push_back(std::move(measured.reading));
  }

  AddedReading add(const FolderPhoto& photo, MeasuredPhoto& measured) {
    AddedReading added;
    Provenance from = provenance_of(photo);
    from.added = now_utc();
    from.picture = measured.picture;
    store_.change([&](Job& job) {
      grade(measured.reading, facts_of_panel(job, photo.panel, options_.facts), options_.rules);
      Reading named = measured.reading;
      named.photo.name = photo.name;  // whoever reads a quote knows the vehicle's folder, not the disk
      added = add_judged_reading(job, photo.panel, named, from, options_.rules, options_.facts);
      job.photos_to_do = std::max(0, job.photos_to_do - 1);
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
  std::vector<const FolderPhoto*> to_do_;
  std::map<std::string, std::size_t> order_;  ///< of the photos' hashes in the folder
  std::vector<std::string> kept_;             ///< hashes of what an earlier run measured
  std::vector<Reading> readings_;
  FolderSummary summary_;
  std::optional<OrderedWorkers<MeasuredPhoto>> workers_;  ///< last: they end before what they use
};

}  // namespace

int refused_count(const FolderSummary& summary) {
  return static_cast<int>(
      std::count_if(summary.photos.begin(), summary.photos.end(),
                    [](const FolderOutcome& photo) { return photo.status == Status::refused; }));
}

FolderSummary run_folder(const FolderRunOptions& options, FolderRunWatcher& watcher) {
  expects(options.threads >= 1, "a thread to measure on");
  return FolderRun(options, watcher).run();
}

}  // namespace ripplegauge
