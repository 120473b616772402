// A job: one vehicle, its panels, and every spot that was measured or entered by hand, with where it came
// from. Nothing is ever taken out of a job: a spot that should not count is voided, with a reason.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "ripplegauge/core/reading.hpp"

namespace ripplegauge {

/// Everything that is true of a whole panel: "aluminium", "repainted", "no access". Facts are the user's own
/// words; a price file says which of them cost extra.
struct JobPanel {
  std::string name;
  std::vector<std::string> facts;
  std::string notes;
};

/// A photo that went into the job, whatever came out of it.
struct JobPhoto {
  int id = 0;
  std::string panel, name;
  std::string sha256;         ///< of the file's bytes; empty when nobody computed it
  std::string date_taken;     ///< EXIF, "YYYY-MM-DD HH:MM:SS"; empty when unknown
  std::string program;        ///< name and version of the program that measured it
  std::string measured_with;  ///< everything that was said of board, card and tape; empty when unknown
  std::string added;          ///< when it went into the job, as spot
  Status status = Status::measured;
  std::optional<Refusal> refusal;
  std::string picture;  ///< file of the annotated picture, relative to the job file; empty: none
};

struct Voided {
  std::string reason, date;
};

struct JobSpot {
  int id = 0;  ///< from 1, never used again
  std::string panel;
  std::optional<int> photo;            ///< JobPhoto::id; absent: entered by hand
  std::optional<int> number_in_photo;  ///< from 1, as the annotated picture numbers its spots
  std::string added;                   ///< when it went into the job, "YYYY-MM-DDTHH:MM:SSZ"
  Kind kind = Kind::low;
  Quantity diameter_mm;  ///< entered by hand without an interval: low = value = high
  std::optional<Quantity> length_mm, width_mm, depth_mm;
  std::optional<PointMm> position_mm;  ///< in the card frame of its photo
  std::string severity, severity_reason;
  bool beyond_pulling = false;
  std::vector<std::string> facts;  ///< as a panel's, but of this spot alone: "body line"
  std::string notes;
  bool counts_alone = false;  ///< never taken for a spot of another photo
  std::optional<Voided> voided;

  bool by_hand() const { return !photo.has_value(); }
};

/// Work besides the spots, by its name in the price file.
struct JobItem {
  std::string name;
  std::string panel;  ///< empty: the whole job
  int count = 1;
};

struct Job {
  std::string vehicle, notes;  ///< free text; nothing personal is asked for
  std::vector<JobPanel> panels;
  std::vector<JobPhoto> photos;
  std::vector<JobSpot> spots;
  std::vector<JobItem> items;
};

/// Where something that is added comes from.
struct Provenance {
  std::string program;          ///< "ripplegauge 0.1.0"
  std::string added;            ///< "YYYY-MM-DDTHH:MM:SSZ"
  std::string picture;          ///< JobPhoto::picture
  std::string measured_with{};  ///< JobPhoto::measured_with
};

struct AddedReading {
  std::vector<int> spots;            ///< ids of the new spots; none for a photo without dents
  std::optional<int> already_photo;  ///< the photo is in the job as this one: nothing was added
  std::vector<int> replaced;         ///< ids of spots that this photo gave with other values; voided now
};

/// Names of panels, facts, items and grades are compared without regard to the case of ASCII letters.
bool same_name(std::string_view a, std::string_view b);

/// The panel of that name; one that is not there yet is made. Throws UsageError for an empty name.
JobPanel& panel_named(Job& job, std::string_view name);

/// Adds every spot of a reading to a panel, with its interval and its photo. A photo counts as already there
/// when its bytes are (or, without a hash, its name and date), unless it was refused then and is not now, or
/// all its spots are voided. Measured with other values than then, it is a new photo, and the spots that it
/// gave then are voided, unless it is refused now.
AddedReading add_reading(Job& job, std::string_view panel, const Reading& reading, const Provenance& from);

/// Adds a spot that somebody sized by hand: the diameter must be known. Returns its id.
int add_by_hand(Job& job, JobSpot spot, const std::string& added);

/// Marks a spot as not counting. Throws UsageError for an unknown id, an empty reason, or one voided before.
void void_spot(Job& job, int id, const std::string& reason, const std::string& date);

/// Throws UsageError naming the id.
JobSpot& spot_with_id(Job& job, int id);
const JobPhoto* photo_with_id(const Job& job, int id);

/// How often an item is wanted, for the whole job (no panel) or a panel; 0 takes the wish back.
void set_item(Job& job, const std::string& name, std::string_view panel, int count);

/// The photo with these bytes, as it was added last, whatever came out of it; null when there is none.
const JobPhoto* photo_with_hash(const Job& job, std::string_view sha256);

/// Whether measuring it again would give the same: how a folder is measured on without measuring twice. A
/// refused photo may pass a newer program.
bool is_up_to_date(const JobPhoto& photo, const Provenance& now);

/// A spot's facts and its panel's, each once.
std::vector<std::string> facts_of(const Job& job, const JobSpot& spot);
bool has_fact(const std::vector<std::string>& facts, std::string_view fact);

/// What a job must keep to whoever wrote it; the first thing that is wrong, or nothing.
std::optional<std::string> inconsistency_of(const Job& job);

}  // namespace ripplegauge
