// What may be done to a job by hand: spots added, changed by hand, voided, moved, joined. Each change is
// kept with who, when and why.
#include "quote/job.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>
#include <set>
#include <utility>

#include "job_detail.hpp"
#include "quote/money.hpp"
#include "ripplegauge/core/errors.hpp"
#include "words/text.hpp"

namespace ripplegauge {

using namespace job_detail;

namespace {

bool is_interval(const Quantity& quantity) {
  return std::isfinite(quantity.value) && quantity.low >= 0 && quantity.low <= quantity.value &&
         quantity.value <= quantity.high && std::isfinite(quantity.high);
}

bool is_blank(const std::string& text) { return text.find_first_not_of(" \t\n") == std::string::npos; }

std::string spot_name(int id) { return "spot " + std::to_string(id); }

void require_reason(const ByHand& by, const std::string& what) {
  if (is_blank(by.why)) throw UsageError("say why " + what + ": a reason is needed");
}

void note(Job& job, const std::string& what, const std::string& key, const std::string& from,
          const std::string& to, const ByHand& by) {
  job.changes.push_back({by.date, by.who, what, key, from, to, by.why});
}

/// "17.2 mm (17.1 to 17.3)", or without the interval where there is none.
std::string size_text(const std::optional<Quantity>& size_mm) {
  if (!size_mm) return "not known";
  if (!(size_mm->low < size_mm->high)) return fmt::format("{:.4g} mm", size_mm->value);
  return fmt::format("{:.4g} mm ({:.4g} to {:.4g})", size_mm->value, size_mm->low, size_mm->high);
}

JobPanel& known_panel(Job& job, const std::string& name) {
  for (JobPanel& panel : job.panels)
    if (same_name(panel.name, name)) return panel;
  throw UsageError("the job has no panel \"" + name + "\"; the list of the job shows their names");
}

/// Whether the photo says something of its panel.
bool was_measured(const JobPhoto& photo) { return photo.status != Status::refused; }

void add_warning(std::vector<JobWarning>& all, const std::string& code, const std::string& message,
                 std::optional<int> photo, std::optional<int> spot) {
  auto found = std::find_if(all.begin(), all.end(), [&](const JobWarning& one) {
    return one.code == code && one.message == message;
  });
  if (found == all.end()) found = all.insert(found, {code, message, {}, {}});
  if (photo) found->photos.push_back(*photo);
  if (spot) found->spots.push_back(*spot);
}

}  // namespace

std::string job_detail::flaw_of(const JobSpot& spot) {
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

void void_spot(Job& job, int id, const std::string& reason, const std::string& date, const std::string& who) {
  if (is_blank(reason)) throw UsageError("say why spot " + std::to_string(id) + " is voided");
  JobSpot& spot = spot_with_id(job, id);
  if (spot.voided)
    throw UsageError("spot " + std::to_string(id) + " is voided already: " + spot.voided->reason);
  spot.voided = Voided{reason, date, who};
  note(job, spot_name(id), "voided", "", "", {who, reason, date});
}

void unvoid_spot(Job& job, int id, const ByHand& by) {
  JobSpot& spot = spot_with_id(job, id);
  if (!spot.voided) throw UsageError(spot_name(id) + " is not voided");
  require_reason(by, spot_name(id) + " counts again");
  note(job, spot_name(id), "counts again", "voided: " + spot.voided->reason, "", by);
  spot.voided.reset();
}

void move_spot(Job& job, int id, const std::string& panel, const ByHand& by) {
  require_reason(by, spot_name(id) + " is moved");
  const std::string from = spot_with_id(job, id).panel, to = panel_named(job, panel).name;
  if (from == to) throw UsageError(spot_name(id) + " is on " + to + " already");
  spot_with_id(job, id).panel = to;
  note(job, spot_name(id), "panel", from, to, by);
}

void rename_panel(Job& job, const std::string& name, const std::string& new_name, const ByHand& by) {
  if (is_blank(new_name)) throw UsageError("a panel needs a name, such as bonnet");
  JobPanel& panel = known_panel(job, name);
  for (const JobPanel& other : job.panels)
    if (&other != &panel && same_name(other.name, new_name))
      throw UsageError("the job has a panel \"" + other.name + "\" already; move the spots there instead");
  const std::string from = std::exchange(panel.name, new_name);
  const auto follow = [&](std::string& named) {
    if (named == from) named = new_name;
  };
  for (JobPhoto& photo : job.photos) follow(photo.panel);
  for (JobSpot& spot : job.spots) follow(spot.panel);
  for (JobItem& item : job.items) follow(item.panel);
  note(job, "panel " + from, "name", from, new_name, by);
}

void drop_fact(Job& job, const std::string& panel, const std::string& fact, const ByHand& by) {
  std::vector<std::string>& facts = known_panel(job, panel).facts;
  const auto erased = std::erase_if(facts, [&](const std::string& one) { return same_name(one, fact); });
  if (erased > 0) note(job, "panel " + known_panel(job, panel).name, "fact", fact, "", by);
}

void set_photo_aside(Job& job, int id, const ByHand& by) {
  const auto photo =
      std::find_if(job.photos.begin(), job.photos.end(), [&](const JobPhoto& one) { return one.id == id; });
  const std::string name = "photo " + std::to_string(id);
  if (photo == job.photos.end())
    throw UsageError("the job has no " + name + "; the list of the job shows their numbers");
  if (photo->status != Status::refused) throw UsageError(name + " was measured; void its spots instead");
  require_reason(by, name + " is set aside");
  photo->set_aside = Voided{by.why, by.date, by.who};
  note(job, name, "set aside", photo->name, "", by);
}

void change_spot(Job& job, int id, const SpotByHand& change, const ByHand& by) {
  JobSpot& spot = spot_with_id(job, id);
  JobSpot changed = spot;
  std::vector<std::array<std::string, 3>> what;  // key, from, to
  const auto size = [&](const char* key, std::optional<Quantity> JobSpot::*member,
                        const std::optional<Quantity>& to) {
    if (!to || spot.*member == to) return;
    what.push_back({key, size_text(spot.*member), size_text(to)});
    changed.*member = to;
  };
  if (change.diameter_mm && spot.diameter_mm != *change.diameter_mm) {
    what.push_back({"diameter", size_text(spot.diameter_mm), size_text(change.diameter_mm)});
    changed.diameter_mm = *change.diameter_mm;
  }
  size("length", &JobSpot::length_mm, change.length_mm);
  size("width", &JobSpot::width_mm, change.width_mm);
  size("depth", &JobSpot::depth_mm, change.depth_mm);
  if (change.severity && spot.severity != *change.severity) {
    what.push_back({"grade", spot.severity.empty() ? "none" : spot.severity, *change.severity});
    changed.severity = *change.severity;
    changed.severity_reason = "by hand";
    changed.severities_allowed.clear();
  }
  if (change.beyond_pulling && spot.beyond_pulling != *change.beyond_pulling) {
    const auto word = [](bool beyond) { return beyond ? "beyond pulling" : "can be pulled"; };
    what.push_back({"pulling", word(spot.beyond_pulling), word(*change.beyond_pulling)});
    changed.beyond_pulling = *change.beyond_pulling;
  }
  if (what.empty()) return;
  const bool only_adds_a_grade = what.size() == 1 && what.front()[0] == "grade" && spot.severity.empty();
  if (!spot.by_hand() && !only_adds_a_grade) {
    require_reason(by, "what was measured of " + spot_name(id) + " is replaced");
    if (!changed.measured)
      changed.measured = AsMeasured{spot.diameter_mm, spot.length_mm,       spot.width_mm,      spot.depth_mm,
                                    spot.severity,    spot.severity_reason, spot.beyond_pulling};
  }
  if (const std::string flaw = flaw_of(changed); !flaw.empty()) throw UsageError("the spot " + flaw);
  spot = std::move(changed);
  for (const auto& [key, from, to] : what) note(job, spot_name(id), key, from, to, by);
}

void join_spots(Job& job, const std::vector<int>& ids, const ByHand& by) {
  if (ids.size() < 2) throw UsageError("give two spots or more that are one");
  const JobSpot first = spot_with_id(job, ids.front());
  std::set<int> photos;
  for (const int id : ids) {
    const JobSpot& spot = spot_with_id(job, id);
    if (spot.panel != first.panel)
      throw UsageError(spot_name(id) + " is on " + spot.panel + ", not on " + first.panel);
    if (spot.by_hand() || !photos.insert(*spot.photo).second)
      throw UsageError(spot_name(id) + " comes from no other photo, so it is another spot; void one of them");
  }
  for (std::size_t i = 1; i < ids.size(); ++i) {
    JobSpot& spot = spot_with_id(job, ids[i]);
    spot.same_as = first.id;
    spot.counts_alone = false;
    note(job, spot_name(ids[i]), "same as", "", spot_name(first.id), by);
  }
}

bool came_again(const Job& job, const JobPhoto& photo) {
  return std::any_of(job.photos.begin(), job.photos.end(), [&](const JobPhoto& other) {
    return other.id > photo.id && ((other.panel == photo.panel && other.name == photo.name) ||
                                   (!photo.sha256.empty() && other.sha256 == photo.sha256));
  });
}

NotMeasured not_measured_in(const Job& job) {
  NotMeasured missing;
  missing.photos_to_do = job.photos_to_do;
  for (const JobPhoto& photo : job.photos) {
    if (photo.set_aside || came_again(job, photo)) continue;
    ++missing.photos_tried;
    if (photo.status == Status::refused) missing.photos.push_back(photo);
  }
  for (const JobPanel& panel : job.panels) {
    const bool has_spot = std::any_of(job.spots.begin(), job.spots.end(), [&](const JobSpot& spot) {
      return spot.panel == panel.name && !spot.voided;
    });
    const bool has_photo = std::any_of(job.photos.begin(), job.photos.end(), [&](const JobPhoto& photo) {
      return photo.panel == panel.name && was_measured(photo);
    });
    if (!has_spot && !has_photo && panel.checked.empty()) missing.panels.push_back(panel.name);
  }
  return missing;
}

std::vector<JobWarning> warnings_in(const Job& job) {
  std::vector<JobWarning> all;
  for (const JobPhoto& photo : job.photos)
    if (was_measured(photo) && !came_again(job, photo))
      for (const Warning& warning : photo.warnings)
        add_warning(all, warning.code, warning.message, photo.id, std::nullopt);
  for (const JobSpot& spot : job.spots)
    if (!spot.voided)
      for (const std::string& doubt : spot.doubts) add_warning(all, "spot", doubt, std::nullopt, spot.id);
  return all;
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

void set_item(Job& job, const std::string& name, std::string_view panel, int count) {
  if (name.empty()) throw UsageError("an item needs the name that it has in the price file");
  if (count < 0 || count > 1000) throw UsageError("an item is wanted from 0 to 1000 times");
  const std::string panel_name = panel.empty() ? "" : panel_named(job, panel).name;
  std::erase_if(job.items,
                [&](const JobItem& item) { return same_name(item.name, name) && item.panel == panel_name; });
  if (count > 0) job.items.push_back({name, panel_name, count});
}

void set_one_off(Job& job, const std::string& name, std::string_view panel, int count,
                 const std::string& price, bool untaxed) {
  constexpr int most_decimals = 4;
  const auto amount = minor_from_decimal(price, most_decimals);
  if (!amount || *amount < 0)
    throw UsageError("a price is a number from 0 with a decimal point, such as 12.50, not \"" +
                     printable(price) + "\"");
  set_item(job, name, panel, count);
  for (JobItem& item : job.items) {
    const bool on_panel = panel.empty() ? item.panel.empty() : same_name(item.panel, panel);
    if (!same_name(item.name, name) || !on_panel) continue;
    item.price = price;
    item.untaxed = untaxed;
  }
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
    const bool panel_not_known = photo.panel.empty() && photo.status == Status::refused;
    if (!panels.contains(photo.panel) && !panel_not_known)
      return who + " is of panel \"" + photo.panel + "\", which is not there";
    if (!photo.together_with) continue;
    const JobPhoto* bearer = photo_with_id(job, *photo.together_with);
    if (bearer == nullptr || bearer->together_with || bearer->id == photo.id)
      return who + " was read together with photo " + std::to_string(*photo.together_with) +
             ", which bears no spots of a set";
  }
  for (const JobSpot& spot : job.spots) {
    const std::string who = "spot " + std::to_string(spot.id);
    if (!spots.insert(spot.id).second) return who + " stands there twice";
    if (!panels.contains(spot.panel))
      return who + " is on panel \"" + spot.panel + "\", which is not among the panels";
    if (spot.photo && !photos.contains(*spot.photo))
      return who + " comes from photo " + std::to_string(*spot.photo) + ", which is not among the photos";
    if (spot.same_as && (*spot.same_as >= spot.id || !spots.contains(*spot.same_as)) &&
        std::none_of(job.spots.begin(), job.spots.end(),
                     [&](const JobSpot& other) { return other.id == *spot.same_as && other.id != spot.id; }))
      return who + " is the same as spot " + std::to_string(*spot.same_as) + ", which is not there";
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
