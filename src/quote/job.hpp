// A job: one vehicle, its panels, and every spot that was measured or entered by hand, with where it came
// from. Nothing is ever taken out of a job: a spot that should not count is voided, with a reason.
#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "core/crease.hpp"
#include "ripplegauge/core/reading.hpp"
#include "words/wording.hpp"

namespace ripplegauge {

/// Everything that is true of a whole panel: "aluminium", "repainted", "no access". Facts are the user's own
/// words; a price file says which of them cost extra.
struct JobPanel {
  std::string name;
  std::vector<std::string> facts;
  std::string notes;
  /// How somebody looked at it without a photo, and what they found: "by lamp: nothing". Empty: nobody did.
  std::string checked{};
};

/// Why something counts no more, and who said so.
struct Voided {
  std::string reason, date;
  std::string who{};  ///< a label; empty: not said
};

/// How a photo was taken, as its reading has it.
struct JobPhotoSetup {
  double board_pitch_mm = 0, bar_length_mm = 0;
  std::string card_name;
  std::optional<double> board_distance_given_mm;  ///< by tape
  std::optional<Quantity> board_distance_mm;      ///< as measured with
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
  std::vector<Warning> warnings{};
  std::optional<JobPhotoSetup> setup{};
  std::optional<Voided> set_aside{};  ///< of a refused photo that nobody needs any more, with the reason
  /// Of a photo that was read as one with others: the photo that bears the spots of them all.
  std::optional<int> together_with{};
};

/// What the photo said of a spot that somebody changed by hand.
struct AsMeasured {
  Quantity diameter_mm;
  std::optional<Quantity> length_mm, width_mm, depth_mm;
  std::string severity, severity_reason;
  bool beyond_pulling = false;
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
  std::vector<std::string>
      severities_allowed;  ///< by its intervals, mildest first; empty where there is one grade, or none
  bool beyond_pulling = false;
  std::vector<std::string> facts;   ///< as a panel's, but of this spot alone: "body line"
  std::vector<std::string> doubts;  ///< what makes the measured numbers less sure
  std::string notes;
  bool counts_alone = false;     ///< never taken for a spot of another photo
  std::optional<int> same_as{};  ///< somebody said that it is this one, seen in another photo
  std::optional<Voided> voided;
  std::optional<AsMeasured> measured;  ///< only where size or grade were changed by hand

  bool by_hand() const { return !photo.has_value(); }
  bool is_crease() const { return length_mm && width_mm && ripplegauge::is_crease(*length_mm, *width_mm); }
};

/// Work besides the spots, by its name in the price file.
struct JobItem {
  std::string name;
  std::string panel;  ///< empty: the whole job
  int count = 1;
  /// Of work that no price file has: what one costs, as a decimal ("12.50"). Empty: the price file says it.
  std::string price{};
  bool untaxed = false;
};

/// One change by hand. The list only grows.
struct JobChange {
  std::string date, who;      ///< who: a label; empty: not said
  std::string what;           ///< "spot 3", "panel bonnet", "photo 2", "job"
  std::string key;            ///< what of it: "severity", "panel", "voided"
  std::string from, to, why;  ///< in words; may be empty
};

/// Who changes something by hand, why and when.
struct ByHand {
  std::string who, why;
  std::string date;  ///< "YYYY-MM-DDTHH:MM:SSZ"
};

struct Job {
  std::string vehicle, notes;  ///< free text; nothing personal is asked for
  std::string claim_number, quote_number;
  std::string valid_until;  ///< of the quote, "YYYY-MM-DD"
  std::vector<JobPanel> panels;
  std::vector<JobPhoto> photos;
  std::vector<JobSpot> spots;
  std::vector<JobItem> items;
  std::vector<JobChange> changes;
  int photos_to_do = 0;  ///< photos of a folder run that was stopped before it came to them
};

/// What is known of a photo of a set that its reading does not hold.
struct ProvenanceOfPhoto {
  std::string picture;        ///< JobPhoto::picture
  std::string measured_with;  ///< JobPhoto::measured_with
  std::optional<JobPhotoSetup> setup{};
};

/// Where something that is added comes from.
struct Provenance {
  std::string program;                   ///< "ripplegauge 0.1.0"
  std::string added;                     ///< "YYYY-MM-DDTHH:MM:SSZ"
  std::string picture;                   ///< JobPhoto::picture
  std::string measured_with{};           ///< JobPhoto::measured_with
  std::vector<ProvenanceOfPhoto> set{};  ///< in the order of Reading::set; may be empty
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
/// gave then are voided, unless it is refused now. Only a refused photo may have no panel.
/// Of a reading from several photos each goes into the job: Reading::photo bears the spots, the others say
/// that they are read together with it, and those that were left out are set aside with the reason. What any
/// of them gave before, alone or in another set, is voided.
AddedReading add_reading(Job& job, std::string_view panel, const Reading& reading, const Provenance& from);

/// How a reading's photo was taken; nothing where it was refused before the stripes were known.
std::optional<JobPhotoSetup> job_setup(const Setup& setup);

/// "a.jpg", or "a.jpg with b.jpg, c.jpg" for one that bears the spots of a set.
std::string photo_names(const std::vector<JobPhoto>& photos, int id, const Wording& words = Wording::plain());

/// Adds a spot that somebody sized by hand: the diameter must be known. Returns its id.
int add_by_hand(Job& job, JobSpot spot, const std::string& added);

/// Marks a spot as not counting. Throws UsageError for an unknown id, an empty reason, or one voided before.
void void_spot(Job& job, int id, const std::string& reason, const std::string& date,
               const std::string& who = "");

// Changes by hand. Each is kept in Job::changes; each throws UsageError for a name or number that is not
// there and where the reason is missing.

/// Makes a voided spot count again.
void unvoid_spot(Job& job, int id, const ByHand& by);

/// Moves a spot to another panel, which is made if it is not there.
void move_spot(Job& job, int id, const std::string& panel, const ByHand& by);

/// Also of its photos, spots and items. The new name must be free.
void rename_panel(Job& job, const std::string& name, const std::string& new_name, const ByHand& by);

/// Takes a fact back; nothing happens where the panel does not have it.
void drop_fact(Job& job, const std::string& panel, const std::string& fact, const ByHand& by);

/// A photo that was refused and need not be measured any more.
void set_photo_aside(Job& job, int id, const ByHand& by);

/// What is to be different of a spot; what is absent stays.
struct SpotByHand {
  std::optional<Quantity> diameter_mm{}, length_mm{}, width_mm{}, depth_mm{};
  std::optional<std::string> severity{};
  std::optional<bool> beyond_pulling{};
};

/// Keeps what was measured in JobSpot::measured. A reason is needed where something measured is replaced.
void change_spot(Job& job, int id, const SpotByHand& change, const ByHand& by);

/// Makes spots of other photos sightings of the first one of them. Throws UsageError for spots of one photo
/// or of two panels.
void join_spots(Job& job, const std::vector<int>& ids, const ByHand& by);

/// Whether the photo came again after it was refused: the same bytes, or another of its name and panel.
bool came_again(const Job& job, const JobPhoto& photo);

/// What the job holds no measurement of.
struct NotMeasured {
  std::vector<JobPhoto> photos;     ///< refused, not set aside, and not come again
  std::vector<std::string> panels;  ///< without a spot that counts, a photo that was measured, or a check
  int photos_to_do = 0;             ///< that a folder run has not come to
  int photos_tried = 0;             ///< refused ones above, and those that were measured

  bool empty() const { return photos.empty() && panels.empty() && photos_to_do == 0; }
};
NotMeasured not_measured_in(const Job& job);

/// Something said of several photos or spots, once.
struct JobWarning {
  std::string code, message;
  std::vector<int> photos, spots;  ///< ids
};

/// The warnings of all photos that count and the doubts about spots that count, each message once.
std::vector<JobWarning> warnings_in(const Job& job);

/// Throws UsageError naming the id.
JobSpot& spot_with_id(Job& job, int id);
const JobPhoto* photo_with_id(const Job& job, int id);

/// How often an item is wanted, for the whole job (no panel) or a panel; 0 takes the wish back.
void set_item(Job& job, const std::string& name, std::string_view panel, int count);

/// The same for work that no price file has, at its own price: a decimal from 0, "12.50".
void set_one_off(Job& job, const std::string& name, std::string_view panel, int count,
                 const std::string& price, bool untaxed);

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
