#include "ripplegauge/quote/job.hpp"

#include <algorithm>
#include <cmath>
#include <set>

#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/core/joined.hpp"
#include "ripplegauge/words/text.hpp"

namespace ripplegauge {

namespace {

template <typename Entries>
int next_id(const Entries& entries) {
  int largest = 0;
  for (const auto& entry : entries) largest = std::max(largest, entry.id);
  return largest + 1;
}

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
  bool any = false;
  for (const JobSpot& spot : job.spots) {
    if (spot.photo != photo.id) continue;
    if (!spot.voided) return true;
    any = true;
  }
  return !any;
}

/// What a photo gave with values that have changed counts no more; returns the spots' ids.
std::vector<int> void_spots_of(Job& job, const PhotoInfo& info, const std::string& date) {
  std::vector<int> ids;
  for (JobSpot& spot : job.spots) {
    if (spot.voided || !spot.photo || !same_photo(*photo_with_id(job, *spot.photo), info)) continue;
    spot.voided = Voided{"its photo was measured again with other values", date};
    ids.push_back(spot.id);
  }
  return ids;
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
  spot.notes = joined(dent.notes, "; ");
  return spot;
}

bool is_interval(const Quantity& quantity) {
  return std::isfinite(quantity.value) && quantity.low >= 0 && quantity.low <= quantity.value &&
         quantity.value <= quantity.high && std::isfinite(quantity.high);
}

/// What is wrong with a spot by itself, or nothing.
std::string flaw_of(const JobSpot& spot) {
  if (!is_interval(spot.diameter_mm) || spot.diameter_mm.value <= 0)
    return "needs a diameter above 0 with low <= value <= high";
  for (const auto& quantity : {spot.length_mm, spot.width_mm, spot.depth_mm})
    if (quantity && !is_interval(*quantity))
      return "has a length, width or depth without low <= value <= high";
  if (spot.position_mm && !(std::isfinite(spot.position_mm->x_mm) && std::isfinite(spot.position_mm->y_mm)))
    return "has a position that is not a number";
  if (spot.voided && spot.voided->reason.empty()) return "is voided without a reason";
  return "";
}

}  // namespace

bool same_name(std::string_view a, std::string_view b) {
  const auto lower = [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; };
  return std::equal(a.begin(), a.end(), b.begin(), b.end(),
                    [&](char left, char right) { return lower(left) == lower(right); });
}

JobPanel& panel_named(Job& job, std::string_view name) {
  if (name.empty()) throw UsageError("a panel needs a name, such as bonnet");
  for (JobPanel& panel : job.panels)
    if (same_name(panel.name, name)) return panel;
  return job.panels.emplace_back(JobPanel{std::string(name), {}, ""});
}

AddedReading add_reading(Job& job, std::string_view panel, const Reading& reading, const Provenance& from) {
  AddedReading result;
  for (const JobPhoto& photo : job.photos) {
    const bool refused_again = photo.status == Status::refused && reading.status == Status::refused;
    if (!same_photo(photo, reading.photo) || !same_values(photo, from) ||
        !(refused_again || still_stands(job, photo)))
      continue;
    result.already_photo = photo.id;
    return result;
  }
  for (const Dent& dent : reading.dents)
    if (const std::string flaw = flaw_of(spot_from(dent)); !flaw.empty())
      throw UsageError("a spot of " + reading.photo.name + " " + flaw);

  if (reading.status != Status::refused) result.replaced = void_spots_of(job, reading.photo, from.added);
  JobPhoto photo;
  photo.id = next_id(job.photos);
  photo.panel = panel_named(job, panel).name;
  photo.name = printable(reading.photo.name);
  photo.sha256 = reading.photo.sha256;
  photo.date_taken = reading.photo.date_taken;
  photo.program = from.program;
  photo.measured_with = from.measured_with;
  photo.added = from.added;
  photo.status = reading.status;
  photo.refusal = reading.refusal;
  photo.picture = from.picture;
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
  job.photos.push_back(std::move(photo));
  return result;
}

int add_by_hand(Job& job, JobSpot spot, const std::string& added) {
  spot.photo.reset();
  spot.number_in_photo.reset();
  spot.position_mm.reset();
  spot.added = added;
  if (const std::string flaw = flaw_of(spot); !flaw.empty()) throw UsageError("the spot " + flaw);
  spot.panel = panel_named(job, spot.panel).name;
  spot.id = next_id(job.spots);
  job.spots.push_back(std::move(spot));
  return job.spots.back().id;
}

void void_spot(Job& job, int id, const std::string& reason, const std::string& date) {
  if (reason.find_first_not_of(" \t\n") == std::string::npos)
    throw UsageError("say why spot " + std::to_string(id) + " is voided");
  JobSpot& spot = spot_with_id(job, id);
  if (spot.voided)
    throw UsageError("spot " + std::to_string(id) + " is voided already: " + spot.voided->reason);
  spot.voided = Voided{reason, date};
}

JobSpot& spot_with_id(Job& job, int id) {
  for (JobSpot& spot : job.spots)
    if (spot.id == id) return spot;
  throw UsageError("the job has no spot " + std::to_string(id) + "; the list of the job shows their numbers");
}

const JobPhoto* photo_with_id(const Job& job, int id) {
  for (const JobPhoto& photo : job.photos)
    if (photo.id == id) return &photo;
  return nullptr;
}

const JobPhoto* photo_with_hash(const Job& job, std::string_view sha256) {
  const auto found = std::find_if(job.photos.rbegin(), job.photos.rend(),
                                  [&](const JobPhoto& photo) { return photo.sha256 == sha256; });
  return sha256.empty() || found == job.photos.rend() ? nullptr : &*found;
}

bool is_up_to_date(const JobPhoto& photo, const Provenance& now) {
  return same_values(photo, now) && (photo.status != Status::refused || photo.program == now.program);
}

void set_item(Job& job, const std::string& name, std::string_view panel, int count) {
  if (name.empty()) throw UsageError("an item needs the name that it has in the price file");
  if (count < 0 || count > 1000) throw UsageError("an item is wanted from 0 to 1000 times");
  const std::string panel_name = panel.empty() ? "" : panel_named(job, panel).name;
  std::erase_if(job.items,
                [&](const JobItem& item) { return same_name(item.name, name) && item.panel == panel_name; });
  if (count > 0) job.items.push_back({name, panel_name, count});
}

std::vector<std::string> facts_of(const Job& job, const JobSpot& spot) {
  std::vector<std::string> facts;
  const auto add = [&](const std::vector<std::string>& more) {
    for (const std::string& fact : more)
      if (!has_fact(facts, fact)) facts.push_back(fact);
  };
  for (const JobPanel& panel : job.panels)
    if (panel.name == spot.panel) add(panel.facts);
  add(spot.facts);
  return facts;
}

bool has_fact(const std::vector<std::string>& facts, std::string_view fact) {
  return std::any_of(facts.begin(), facts.end(),
                     [&](const std::string& known) { return same_name(known, fact); });
}

std::optional<std::string> inconsistency_of(const Job& job) {
  std::set<std::string> panels;
  for (const JobPanel& panel : job.panels) {
    if (panel.name.empty()) return "a panel has no name";
    const auto same = [&](const JobPanel& other) { return same_name(other.name, panel.name); };
    if (std::count_if(job.panels.begin(), job.panels.end(), same) > 1)
      return "panel \"" + panel.name + "\" stands there twice";
    panels.insert(panel.name);
  }
  std::set<int> photos, spots;
  for (const JobPhoto& photo : job.photos) {
    const std::string who = "photo " + std::to_string(photo.id);
    if (!photos.insert(photo.id).second) return who + " stands there twice";
    if (!panels.contains(photo.panel))
      return who + " is of panel \"" + photo.panel + "\", which is not there";
  }
  for (const JobSpot& spot : job.spots) {
    const std::string who = "spot " + std::to_string(spot.id);
    if (!spots.insert(spot.id).second) return who + " stands there twice";
    if (!panels.contains(spot.panel))
      return who + " is on panel \"" + spot.panel + "\", which is not among the panels";
    if (spot.photo && !photos.contains(*spot.photo))
      return who + " comes from photo " + std::to_string(*spot.photo) + ", which is not among the photos";
    if (const std::string flaw = flaw_of(spot); !flaw.empty()) return who + " " + flaw;
  }
  for (const JobItem& item : job.items) {
    const std::string what = "item \"" + item.name + "\"";
    if (!item.panel.empty() && !panels.contains(item.panel))
      return what + " is for panel \"" + item.panel + "\", which is not there";
    const auto same = [&](const JobItem& other) {
      return same_name(other.name, item.name) && other.panel == item.panel;
    };
    if (std::count_if(job.items.begin(), job.items.end(), same) > 1)
      return what + " is asked for twice" + (item.panel.empty() ? "" : " on " + item.panel);
  }
  return std::nullopt;
}

}  // namespace ripplegauge
