// What photos bring into a job: their spots, once for a photo or a set of photos, and what they replace.
#include <algorithm>

#include "job_detail.hpp"
#include "quote/job.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/core/findings.hpp"
#include "words/text.hpp"

namespace ripplegauge {

using namespace job_detail;

namespace {

bool same_photo(const JobPhoto& photo, const PhotoInfo& info) {
  if (!photo.sha256.empty() && !info.sha256.empty()) return photo.sha256 == info.sha256;
  return photo.name == printable(info.name) && photo.date_taken == info.date_taken;
}

bool same_values(const JobPhoto& photo, const Provenance& from) {
  return photo.measured_with.empty() || from.measured_with.empty() ||
         photo.measured_with == from.measured_with;
}

/// Whether something of this photo still counts: a photo without dents does, too.
bool still_stands(const Job& job, const JobPhoto& photo) {
  if (photo.status == Status::refused) return false;
  const int bearer = photo.together_with.value_or(photo.id);
  bool any = false;
  for (const JobSpot& spot : job.spots) {
    if (spot.photo != bearer) continue;
    if (!spot.voided) return true;
    any = true;
  }
  return !any;
}

/// Whether a photo bears spots that were read from this one, too.
bool stands_on(const Job& job, int bearer, const PhotoInfo& info) {
  return std::any_of(job.photos.begin(), job.photos.end(), [&](const JobPhoto& photo) {
    return (photo.id == bearer || photo.together_with == bearer) && same_photo(photo, info);
  });
}

/// The photos that a reading stands on, and the others of its set.
std::vector<PhotoInfo> photos_used(const Reading& reading) {
  std::vector<PhotoInfo> used;
  for (const PhotoOfSet& one : reading.set)
    if (one.left_out.empty()) used.push_back(one.photo);
  return used.empty() ? std::vector{reading.photo} : used;
}

/// What photos gave with other values, or in another set, counts no more; adds the spots' ids.
void void_spots_of(Job& job, const std::vector<PhotoInfo>& photos, const std::string& date,
                   std::vector<int>& ids) {
  for (JobSpot& spot : job.spots) {
    if (spot.voided || !spot.photo) continue;
    const bool is_read_again = std::any_of(photos.begin(), photos.end(), [&](const PhotoInfo& info) {
      return stands_on(job, *spot.photo, info);
    });
    if (!is_read_again) continue;
    spot.voided = Voided{photos.size() > 1 ? "its photo was measured again, with others of the same place"
                                           : "its photo was measured again with other values",
                         date};
    ids.push_back(spot.id);
  }
}

/// Whether a photo was read with just these others; what is read alone may be part of any set.
bool same_set(const Job& job, const JobPhoto& photo, const std::vector<PhotoInfo>& photos) {
  if (photos.size() == 1) return true;
  const int bearer = photo.together_with.value_or(photo.id);
  const auto in_set = std::count_if(job.photos.begin(), job.photos.end(), [&](const JobPhoto& one) {
    return one.id == bearer || one.together_with == bearer;
  });
  return static_cast<std::size_t>(in_set) == photos.size() &&
         std::all_of(photos.begin(), photos.end(),
                     [&](const PhotoInfo& info) { return stands_on(job, bearer, info); });
}

JobSpot spot_from(const Dent& dent) {
  JobSpot spot;
  spot.kind = dent.kind;
  spot.diameter_mm = dent.diameter_mm;
  spot.length_mm = dent.length_mm;
  spot.width_mm = dent.width_mm;
  spot.depth_mm = dent.depth_mm;
  spot.position_mm = PointMm{dent.x_mm, dent.y_mm};
  spot.severity = dent.severity;
  spot.severity_reason = dent.severity_reason;
  spot.doubts = dent.notes;
  return spot;
}

/// A photo of a reading as it goes into the job; number, panel, warnings and set-up are still to come.
JobPhoto photo_from(const PhotoInfo& info, const Reading& reading, const Provenance& from) {
  JobPhoto photo;
  photo.name = printable(info.name);
  photo.sha256 = info.sha256;
  photo.date_taken = info.date_taken;
  photo.program = from.program;
  photo.measured_with = from.measured_with;
  photo.added = from.added;
  photo.status = reading.status;
  photo.refusal = reading.refusal;
  photo.picture = from.picture;
  return photo;
}

/// The photos of a set besides the one that bears the spots.
void add_others_of_set(Job& job, const JobPhoto& bearer, const Reading& reading, const Provenance& from) {
  for (std::size_t i = 0; i < reading.set.size(); ++i) {
    const PhotoOfSet& one = reading.set[i];
    if (same_photo(bearer, one.photo)) continue;
    JobPhoto photo = photo_from(one.photo, reading, from);
    photo.id = next_id(job.photos);
    photo.panel = bearer.panel;
    photo.picture.clear();
    if (i < from.set.size()) {
      photo.picture = from.set[i].picture;
      photo.measured_with = from.set[i].measured_with;
      photo.setup = from.set[i].setup;
    }
    if (one.left_out.empty() && reading.status != Status::refused) photo.together_with = bearer.id;
    if (!one.left_out.empty()) {
      photo.status = Status::refused;
      photo.refusal = Refusal{code_of(PhotoFinding::photo_left_out), one.left_out,
                              "Photograph again, the card left where it is."};
      if (reading.status != Status::refused)
        photo.set_aside = Voided{"the other photos of its set do without it", from.added};
    }
    job.photos.push_back(std::move(photo));
  }
}

}  // namespace

std::optional<JobPhotoSetup> job_setup(const Setup& setup) {
  if (!(setup.board_pitch_mm > 0)) return std::nullopt;
  return JobPhotoSetup{setup.board_pitch_mm, setup.bar_length_mm, setup.card_name,
                       setup.board_distance_given_mm, setup.board_distance_mm};
}

AddedReading add_reading(Job& job, std::string_view panel, const Reading& reading, const Provenance& from) {
  AddedReading result;
  const std::vector<PhotoInfo> used = photos_used(reading);
  for (const JobPhoto& photo : job.photos) {
    const bool refused_again = photo.status == Status::refused && reading.status == Status::refused;
    if (!same_photo(photo, reading.photo) || !same_values(photo, from) || !same_set(job, photo, used) ||
        !(refused_again || still_stands(job, photo)))
      continue;
    result.already_photo = photo.id;
    return result;
  }
  for (const Dent& dent : reading.dents)
    if (const std::string flaw = flaw_of(spot_from(dent)); !flaw.empty())
      throw UsageError("a spot of " + reading.photo.name + " " + flaw);

  if (reading.status != Status::refused) void_spots_of(job, used, from.added, result.replaced);
  JobPhoto photo = photo_from(reading.photo, reading, from);
  photo.id = next_id(job.photos);
  const bool panel_not_known = panel.empty() && reading.status == Status::refused;
  if (!panel_not_known) photo.panel = panel_named(job, panel).name;
  photo.warnings = reading.warnings;
  photo.setup = job_setup(reading.setup);
  int id = next_id(job.spots);
  for (const Dent& dent : reading.dents) {
    JobSpot spot = spot_from(dent);
    spot.id = id++;
    spot.panel = photo.panel;
    spot.photo = photo.id;
    spot.number_in_photo = static_cast<int>(result.spots.size()) + 1;
    spot.added = from.added;
    result.spots.push_back(spot.id);
    job.spots.push_back(std::move(spot));
  }
  const JobPhoto bearer = job.photos.emplace_back(std::move(photo));
  add_others_of_set(job, bearer, reading, from);
  return result;
}

std::string photo_names(const std::vector<JobPhoto>& photos, int id, const Wording& words) {
  std::string name, others;
  for (const JobPhoto& photo : photos) {
    if (photo.id == id) name = photo.name;
    if (photo.together_with == id) others += (others.empty() ? "" : ", ") + photo.name;
  }
  if (name.empty()) return words("photo.numbered", {{"id", id}});
  return others.empty() ? name : words("photo.with", {{"photo", name}, {"others", others}});
}

const JobPhoto* photo_with_hash(const Job& job, std::string_view sha256) {
  const auto found = std::find_if(job.photos.rbegin(), job.photos.rend(),
                                  [&](const JobPhoto& photo) { return photo.sha256 == sha256; });
  return sha256.empty() || found == job.photos.rend() ? nullptr : &*found;
}

bool is_up_to_date(const JobPhoto& photo, const Provenance& now) {
  return same_values(photo, now) && (photo.status != Status::refused || photo.program == now.program);
}

}  // namespace ripplegauge
