// Job files as JSON. A change locks the folder, reads, changes, and replaces the file, so that two programs
// can work on one job.
#include "files/job_file.hpp"

#include <fcntl.h>
#include <sys/file.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <chrono>
#include <cstring>
#include <map>
#include <thread>

#include "files/atomic_write.hpp"
#include "json/json_write.hpp"
#include "json/read_bytes.hpp"
#include "quote/overlap.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/json/json_reader.hpp"

namespace ripplegauge {

namespace {

constexpr int newest_schema = 2;
/// A vehicle with two thousand dents is a write-off. Spots are compared with each other: the time for a quote
/// goes with the square of their number.
constexpr CountRule most_spots{.max = 10'000}, most_photos{.max = 10'000}, most_panels{.max = 1'000},
    most_items{.max = 1'000};
/// A spot has about 800 bytes.
constexpr JsonLimits limits{.max_bytes = 32u << 20};
constexpr TextRule name_rule{.min_bytes = 1, .max_bytes = 200, .one_line = true};
constexpr TextRule line_rule{.max_bytes = 20000, .one_line = true}, notes_rule{.max_bytes = 20000};
const NumberRule id_rule = between(1, 1'000'000'000);

OrderedJson to_json(const std::optional<Quantity>& quantity) { return json_quantity(quantity); }

OrderedJson to_json(const Voided& voided) {
  OrderedJson json{{"reason", voided.reason}, {"date", voided.date}};
  if (!voided.who.empty()) json["who"] = voided.who;
  return json;
}

OrderedJson to_json(const JobPhotoSetup& setup) {
  OrderedJson json{{"board_pitch_mm", json_number(setup.board_pitch_mm)},
                   {"bar_length_mm", json_number(setup.bar_length_mm)},
                   {"card_name", setup.card_name}};
  if (setup.board_distance_given_mm)
    json["board_distance_given_mm"] = json_number(*setup.board_distance_given_mm);
  if (setup.board_distance_mm) json["board_distance_mm"] = to_json(setup.board_distance_mm);
  return json;
}

OrderedJson to_json(const AsMeasured& measured) {
  return {{"diameter_mm", to_json(std::optional(measured.diameter_mm))},
          {"length_mm", to_json(measured.length_mm)},
          {"width_mm", to_json(measured.width_mm)},
          {"depth_mm", to_json(measured.depth_mm)},
          {"severity", measured.severity},
          {"severity_reason", measured.severity_reason},
          {"beyond_pulling", measured.beyond_pulling}};
}

OrderedJson to_json(const JobPanel& panel) {
  OrderedJson json{{"name", panel.name}, {"facts", panel.facts}, {"notes", panel.notes}};
  if (!panel.checked.empty()) json["checked"] = panel.checked;
  return json;
}

OrderedJson to_json(const JobChange& change) {
  return {{"date", change.date}, {"who", change.who}, {"what", change.what}, {"key", change.key},
          {"from", change.from}, {"to", change.to},   {"why", change.why}};
}

OrderedJson to_json(const JobPhoto& photo) {
  OrderedJson json{{"id", photo.id},
                   {"panel", photo.panel},
                   {"name", photo.name},
                   {"sha256", photo.sha256},
                   {"date_taken", photo.date_taken},
                   {"program", photo.program},
                   {"added", photo.added},
                   {"status", to_string(photo.status)}};
  if (!photo.measured_with.empty()) json["measured_with"] = photo.measured_with;
  if (photo.refusal)
    json["refusal"] = {{"code", photo.refusal->code},
                       {"message", photo.refusal->message},
                       {"remedy", photo.refusal->remedy}};
  if (!photo.picture.empty()) json["picture"] = photo.picture;
  if (photo.setup) json["setup"] = to_json(*photo.setup);
  if (!photo.warnings.empty()) {
    json["warnings"] = OrderedJson::array();
    for (const Warning& warning : photo.warnings)
      json["warnings"].push_back({{"code", warning.code}, {"message", warning.message}});
  }
  if (photo.set_aside) json["set_aside"] = to_json(*photo.set_aside);
  if (photo.together_with) json["together_with"] = *photo.together_with;
  return json;
}

OrderedJson to_json(const JobSpot& spot) {
  OrderedJson json{{"id", spot.id}, {"panel", spot.panel}, {"source", spot.by_hand() ? "hand" : "photo"}};
  if (spot.photo) json["photo"] = *spot.photo;
  if (spot.number_in_photo) json["number_in_photo"] = *spot.number_in_photo;
  json["added"] = spot.added;
  json["kind"] = to_string(spot.kind);
  json["diameter_mm"] = to_json(std::optional(spot.diameter_mm));
  json["length_mm"] = to_json(spot.length_mm);
  json["width_mm"] = to_json(spot.width_mm);
  json["depth_mm"] = to_json(spot.depth_mm);
  if (spot.position_mm) {
    json["x_mm"] = json_number(spot.position_mm->x_mm);
    json["y_mm"] = json_number(spot.position_mm->y_mm);
  }
  json["severity"] = spot.severity;
  json["severity_reason"] = spot.severity_reason;
  if (!spot.severities_allowed.empty()) json["severities_allowed"] = spot.severities_allowed;
  json["beyond_pulling"] = spot.beyond_pulling;
  json["facts"] = spot.facts;
  if (!spot.doubts.empty()) json["doubts"] = spot.doubts;
  json["notes"] = spot.notes;
  if (spot.counts_alone) json["counts_alone"] = true;
  if (spot.same_as) json["same_as"] = *spot.same_as;
  if (spot.voided) json["void"] = to_json(*spot.voided);
  if (spot.measured) json["measured"] = to_json(*spot.measured);
  return json;
}

std::string text_of(ObjectReader& object, std::string_view key) {
  return object.optional<std::string>(key, line_rule).value_or("");
}

std::string notes_of(ObjectReader& object) {
  return object.optional<std::string>("notes", notes_rule).value_or("");
}

std::optional<Quantity> quantity_of(std::optional<ObjectReader> object) {
  if (!object) return std::nullopt;
  const NumberRule size = between(0, 10000);
  const Quantity quantity{object->required<double>("value", size), object->required<double>("low", size),
                          object->required<double>("high", size)};
  object->finish();
  return quantity;
}

JobPanel panel_from(ObjectReader& object) {
  JobPanel panel;
  panel.name = object.required<std::string>("name", name_rule);
  panel.facts = object.optional_list<std::string>("facts", {}, name_rule);
  panel.notes = notes_of(object);
  panel.checked = text_of(object, "checked");
  object.finish();
  return panel;
}

Voided voided_from(ObjectReader& object) {
  Voided voided{object.required<std::string>("reason", {.min_bytes = 1, .one_line = true}),
                text_of(object, "date"), text_of(object, "who")};
  object.finish();
  return voided;
}

JobPhotoSetup setup_from(ObjectReader& object) {
  const NumberRule size = between(0, 100000);
  JobPhotoSetup setup;
  setup.board_pitch_mm = object.required<double>("board_pitch_mm", size);
  setup.bar_length_mm = object.required<double>("bar_length_mm", size);
  setup.card_name = text_of(object, "card_name");
  setup.board_distance_given_mm = object.optional<double>("board_distance_given_mm", size);
  if (auto distance = object.optional_object("board_distance_mm"))
    setup.board_distance_mm =
        Quantity{distance->required<double>("value", size), distance->required<double>("low", size),
                 distance->required<double>("high", size)};
  object.finish();
  return setup;
}

AsMeasured measured_from(ObjectReader& object) {
  AsMeasured measured;
  measured.diameter_mm = *quantity_of(object.required_object("diameter_mm"));
  measured.length_mm = quantity_of(object.optional_object("length_mm"));
  measured.width_mm = quantity_of(object.optional_object("width_mm"));
  measured.depth_mm = quantity_of(object.optional_object("depth_mm"));
  measured.severity = text_of(object, "severity");
  measured.severity_reason = text_of(object, "severity_reason");
  measured.beyond_pulling = object.optional<bool>("beyond_pulling").value_or(false);
  object.finish();
  return measured;
}

JobChange change_from(ObjectReader& object) {
  JobChange change;
  change.date = text_of(object, "date");
  change.who = text_of(object, "who");
  change.what = text_of(object, "what");
  change.key = text_of(object, "key");
  change.from = text_of(object, "from");
  change.to = text_of(object, "to");
  change.why = text_of(object, "why");
  object.finish();
  return change;
}

JobPhoto photo_from(ObjectReader& object) {
  JobPhoto photo;
  photo.id = object.required<int>("id", id_rule);
  photo.panel = text_of(object, "panel");
  photo.name = text_of(object, "name");
  photo.sha256 = text_of(object, "sha256");
  photo.date_taken = text_of(object, "date_taken");
  photo.program = text_of(object, "program");
  photo.measured_with = text_of(object, "measured_with");
  photo.added = text_of(object, "added");
  const std::string status = object.required_choice("status", {"measured", "no_dent", "refused"});
  photo.status = status == "measured"  ? Status::measured
                 : status == "no_dent" ? Status::no_dent
                                       : Status::refused;
  if (auto refusal = object.optional_object("refusal")) {
    photo.refusal =
        Refusal{text_of(*refusal, "code"), text_of(*refusal, "message"), text_of(*refusal, "remedy")};
    refusal->finish();
  }
  photo.picture = text_of(object, "picture");
  if (auto setup = object.optional_object("setup")) photo.setup = setup_from(*setup);
  for (ObjectReader& warning : object.optional_objects("warnings")) {
    photo.warnings.push_back({text_of(warning, "code"), text_of(warning, "message")});
    warning.finish();
  }
  if (auto aside = object.optional_object("set_aside")) photo.set_aside = voided_from(*aside);
  photo.together_with = object.optional<int>("together_with", id_rule);
  object.finish();
  return photo;
}

std::optional<PointMm> position_from(ObjectReader& object) {
  const NumberRule within_a_car = between(-10000, 10000);
  const auto x_mm = object.optional<double>("x_mm", within_a_car),
             y_mm = object.optional<double>("y_mm", within_a_car);
  if (x_mm.has_value() != y_mm.has_value()) object.fail(x_mm ? "y_mm" : "x_mm", "x_mm and y_mm go together");
  if (!x_mm) return std::nullopt;
  return PointMm{*x_mm, *y_mm};
}

JobSpot spot_from(ObjectReader& object) {
  JobSpot spot;
  spot.id = object.required<int>("id", id_rule);
  spot.panel = object.required<std::string>("panel", name_rule);
  const bool by_hand = object.required_choice("source", {"photo", "hand"}) == "hand";
  spot.photo = object.optional<int>("photo", id_rule);
  if (spot.photo.has_value() == by_hand)
    object.fail("photo", by_hand ? "a spot entered by hand has none" : "the photo's id is required");
  spot.number_in_photo = object.optional<int>("number_in_photo", id_rule);
  spot.added = text_of(object, "added");
  spot.kind = object.required_choice("kind", {"low", "high"}) == "low" ? Kind::low : Kind::high;
  spot.diameter_mm = *quantity_of(object.required_object("diameter_mm"));
  spot.length_mm = quantity_of(object.optional_object("length_mm"));
  spot.width_mm = quantity_of(object.optional_object("width_mm"));
  spot.depth_mm = quantity_of(object.optional_object("depth_mm"));
  spot.position_mm = position_from(object);
  spot.severity = text_of(object, "severity");
  spot.severity_reason = text_of(object, "severity_reason");
  spot.severities_allowed = object.optional_list<std::string>("severities_allowed", {}, name_rule);
  spot.beyond_pulling = object.optional<bool>("beyond_pulling").value_or(false);
  spot.facts = object.optional_list<std::string>("facts", {}, name_rule);
  spot.doubts = object.optional_list<std::string>("doubts", {}, line_rule);
  spot.notes = notes_of(object);
  spot.counts_alone = object.optional<bool>("counts_alone").value_or(false);
  spot.same_as = object.optional<int>("same_as", id_rule);
  if (auto voided = object.optional_object("void")) spot.voided = voided_from(*voided);
  if (auto measured = object.optional_object("measured")) spot.measured = measured_from(*measured);
  object.finish();
  return spot;
}

JobItem item_from(ObjectReader& object) {
  JobItem item;
  item.name = object.required<std::string>("name", name_rule);
  item.panel = text_of(object, "panel");
  item.count = object.required<int>("count", between(1, 1000));
  item.price = text_of(object, "price");
  item.untaxed = object.optional<bool>("untaxed").value_or(false);
  object.finish();
  return item;
}

/// Keeps other processes away from the jobs of a folder. The folder itself is locked: a lock on the job file
/// would stay with the old file when the new one takes its name, and a lock file would be left lying about.
/// The kernel lets go of the lock when the process ends, however it ends.
class FolderLock {
 public:
  explicit FolderLock(const std::filesystem::path& file) {
    const std::filesystem::path folder =
        file.has_parent_path() ? file.parent_path() : std::filesystem::path(".");
    descriptor_ = ::open(folder.c_str(), O_RDONLY | O_DIRECTORY | O_CLOEXEC);
    if (descriptor_ < 0)
      throw FileError(file.string(), "its folder cannot be opened; create it or choose another");
    wait(file);
  }
  ~FolderLock() {
    ::flock(descriptor_, LOCK_UN);  // closing would not do while a child process has the folder open, too
    ::close(descriptor_);
  }
  FolderLock(const FolderLock&) = delete;
  FolderLock& operator=(const FolderLock&) = delete;

 private:
  void wait(const std::filesystem::path& file) const {
    using std::chrono::milliseconds;
    constexpr milliseconds step{5}, patience{30'000};  // a change takes a few milliseconds
    for (milliseconds waited{0}; ::flock(descriptor_, LOCK_EX | LOCK_NB) != 0; waited += step) {
      const int error_number = errno;
      std::string problem;
      if (error_number != EWOULDBLOCK && error_number != EINTR)
        problem = std::string("its folder cannot be locked: ") + std::strerror(error_number) +
                  "; keep jobs on a local disk";
      else if (waited > patience)
        problem = "another program has been changing it for half a minute; end that one or wait";
      if (!problem.empty()) {
        ::close(descriptor_);
        throw FileError(file.string(), problem);
      }
      std::this_thread::sleep_for(step);
    }
  }

  int descriptor_ = -1;
};

}  // namespace

std::string job_list_to_json(const Job& job) {
  const CountedOnce once = count_once(job);
  OrderedJson spots = OrderedJson::array(), panels = OrderedJson::array(), warnings = OrderedJson::array(),
              refused = OrderedJson::array(), changes = OrderedJson::array();
  std::map<int, int> counted_as;
  for (const CountedSpot& spot : once.spots)
    for (const int other : spot.also_seen) counted_as[other] = spot.id;
  for (const JobSpot& spot : job.spots) {
    OrderedJson one = to_json(spot);
    one["counts"] = !spot.voided && !counted_as.contains(spot.id);
    if (counted_as.contains(spot.id)) one["counted_as"] = counted_as[spot.id];
    spots.push_back(std::move(one));
  }
  const NotMeasured missing = not_measured_in(job);
  for (const JobPanel& panel : job.panels) {
    OrderedJson one = to_json(panel);
    one["spots"] = std::count_if(once.spots.begin(), once.spots.end(), [&](const CountedSpot& counted) {
      return std::any_of(job.spots.begin(), job.spots.end(), [&](const JobSpot& spot) {
        return spot.id == counted.id && spot.panel == panel.name;
      });
    });
    panels.push_back(std::move(one));
  }
  for (const JobPhoto& photo : missing.photos) refused.push_back(to_json(photo));
  for (const JobWarning& warning : warnings_in(job))
    warnings.push_back({{"code", warning.code},
                        {"message", warning.message},
                        {"photos", warning.photos},
                        {"spots", warning.spots}});
  for (const JobChange& change : job.changes) changes.push_back(to_json(change));
  return json_text(
      {{"schema", 1},
       {"vehicle", job.vehicle},
       {"panels", std::move(panels)},
       {"spots", std::move(spots)},
       {"spots_that_count", once.spots.size()},
       {"questions", once.questions},
       {"not_measured",
        {{"photos", std::move(refused)}, {"panels", missing.panels}, {"photos_to_do", missing.photos_to_do}}},
       {"warnings", std::move(warnings)},
       {"changes", std::move(changes)}});
}

std::string job_to_json(const Job& job) {
  if (const auto fault = inconsistency_of(job)) throw UsageError("the job cannot be written: " + *fault);
  OrderedJson panels = OrderedJson::array(), photos = OrderedJson::array(), spots = OrderedJson::array(),
              items = OrderedJson::array(), changes = OrderedJson::array();
  for (const JobPanel& panel : job.panels) panels.push_back(to_json(panel));
  for (const JobPhoto& photo : job.photos) photos.push_back(to_json(photo));
  for (const JobSpot& spot : job.spots) spots.push_back(to_json(spot));
  for (const JobItem& item : job.items) {
    OrderedJson one{{"name", item.name}, {"panel", item.panel}, {"count", item.count}};
    if (!item.price.empty()) one["price"] = item.price;
    if (item.untaxed) one["untaxed"] = true;
    items.push_back(std::move(one));
  }
  for (const JobChange& change : job.changes) changes.push_back(to_json(change));
  OrderedJson json{{"schema", newest_schema},     {"vehicle", job.vehicle},       {"notes", job.notes},
                   {"panels", std::move(panels)}, {"photos", std::move(photos)},  {"spots", std::move(spots)},
                   {"items", std::move(items)},   {"changes", std::move(changes)}};
  for (const auto& [key, value] :
       {std::pair("claim_number", job.claim_number), std::pair("quote_number", job.quote_number),
        std::pair("valid_until", job.valid_until)})
    if (!value.empty()) json[key] = value;
  if (job.photos_to_do > 0) json["photos_to_do"] = job.photos_to_do;
  std::string text = json_text(json);
  try {
    job_from_json(text, "the job");
  } catch (const FileError& error) {
    throw UsageError(std::string("the job would not be readable any more: ") + error.what());
  }
  return text;
}

Job job_from_json(std::string_view text, const std::string& name) {
  ObjectReader object = JsonFile::parse(text, name, limits).object();
  const int schema = object.required<int>("schema", at_least(1));
  if (schema > newest_schema)
    throw FileError(name, "was written by a newer version of this program (schema " + std::to_string(schema) +
                              "; this version reads up to " + std::to_string(newest_schema) +
                              "); use the newer version");
  Job job;
  job.vehicle = text_of(object, "vehicle");
  job.notes = notes_of(object);
  object.optional<std::string>("program", line_rule);
  job.claim_number = text_of(object, "claim_number");
  job.quote_number = text_of(object, "quote_number");
  job.valid_until = text_of(object, "valid_until");
  for (ObjectReader& panel : object.required_objects("panels", most_panels))
    job.panels.push_back(panel_from(panel));
  for (ObjectReader& photo : object.optional_objects("photos", most_photos))
    job.photos.push_back(photo_from(photo));
  for (ObjectReader& spot : object.required_objects("spots", most_spots))
    job.spots.push_back(spot_from(spot));
  for (ObjectReader& item : object.optional_objects("items", most_items))
    job.items.push_back(item_from(item));
  for (ObjectReader& change : object.optional_objects("changes")) job.changes.push_back(change_from(change));
  job.photos_to_do = object.optional<int>("photos_to_do", between(0, 1'000'000)).value_or(0);
  object.finish();
  if (const auto fault = inconsistency_of(job)) throw FileError(name, *fault);
  return job;
}

Job read_job(const std::filesystem::path& file) {
  return job_from_json(read_bytes(file, limits.max_bytes), file.string());
}

void change_job(const std::filesystem::path& file, JobMustBe must_be,
                const std::function<bool(Job&)>& change) {
  namespace fs = std::filesystem;
  std::error_code ignored;
  const fs::path target = fs::is_symlink(file, ignored) ? fs::weakly_canonical(file, ignored) : file;
  const FolderLock lock(target);
  const bool exists = fs::exists(target, ignored);
  if (exists && must_be == JobMustBe::new_file)
    throw FileError(file.string(), "is there already; choose another name, or add to it");
  Job job;
  if (exists || must_be == JobMustBe::there) job = read_job(target);
  if (change(job)) write_atomically(target, job_to_json(job));
}

}  // namespace ripplegauge
