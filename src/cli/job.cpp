#include <algorithm>
#include <iostream>
#include <memory>

#include "command.hpp"
#include "ripplegauge/app/clock.hpp"
#include "ripplegauge/app/job_parts.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/core/joined.hpp"
#include "ripplegauge/files/job_file.hpp"
#include "ripplegauge/files/price_file.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "ripplegauge/photo/file_hash.hpp"
#include "ripplegauge/quote/counts.hpp"
#include "ripplegauge/quote/display.hpp"
#include "ripplegauge/words/text.hpp"
#include "terminal.hpp"

namespace ripplegauge::cli {

namespace {

constexpr const char* examples =
    R"(A job file holds the spots of one vehicle, with their sizes and where they came from. Spots are
voided with a reason, never removed. Vehicle, notes and facts are your own words; nothing personal
is needed.

Examples:
  ripplegauge job new estate.json --vehicle "blue estate, bay 2"
  ripplegauge job panel estate.json bonnet --fact aluminium --fact "ceramic coating"
  ripplegauge job add estate.json --panel bonnet bonnet-1.json bonnet-2.json --draw
  ripplegauge job add-hand estate.json --panel roof --diameter 24 --plus-minus 2 --severity moderate
  ripplegauge job mark estate.json --spot 2 --fact "body line"
  ripplegauge job void estate.json --spot 3 --reason "a reflection of the lamp"
  ripplegauge job item estate.json "remove and refit" --panel roof
  ripplegauge job list estate.json)";

struct JobArguments {
  std::string file, vehicle, notes, panel, reason, item, severity, kind = "low", prices;
  std::vector<std::string> readings, facts, dropped_facts, pictures;
  std::vector<int> spots;
  std::optional<double> diameter_mm, plus_minus_mm, low_mm, high_mm, length_mm, width_mm, depth_mm;
  int count = 1;
  bool draw = false, beyond_pulling = false, can_be_pulled = false, counts_alone = false, all = false;
};

void warn(const std::string& message) { std::cerr << "ripplegauge: " << message << "\n"; }

std::string numbers(const std::vector<int>& ids) {
  std::string text;
  for (const int id : ids) text += (text.empty() ? "" : ", ") + std::to_string(id);
  return text;
}

void add_facts(std::vector<std::string>& facts, const std::vector<std::string>& more) {
  for (const std::string& fact : more)
    if (!has_fact(facts, fact)) facts.push_back(fact);
}

int run_new(const JobArguments& arguments) {
  change_job(arguments.file, JobMustBe::new_file, [&](Job& job) {
    job.vehicle = arguments.vehicle;
    job.notes = arguments.notes;
    return true;
  });
  std::cout << arguments.file << ": new job\n";
  return exit_ok;
}

/// A reading with what goes into the job beside it.
struct ReadingToAdd {
  Reading reading;
  std::string picture;
};

std::vector<ReadingToAdd> readings_to_add(const JobArguments& arguments) {
  std::vector<ReadingToAdd> all;
  for (const std::string& file : arguments.readings)
    for (Reading& reading : read_readings(file)) {
      const std::filesystem::path photo = photo_beside(reading.photo.name, file);
      if (reading.photo.sha256.empty() && !photo.empty()) reading.photo.sha256 = sha256_of_file(photo);
      std::string picture;
      if (arguments.draw && photo.empty())
        warn(reading.photo.name + ": the photo is not there any more; nothing is drawn");
      else if (arguments.draw)
        picture = draw_for_job(reading, photo, arguments.file);
      all.push_back({std::move(reading), picture});
    }
  if (!arguments.pictures.empty() && arguments.pictures.size() != all.size())
    throw UsageError("--picture stands " + std::to_string(arguments.pictures.size()) + " times for " +
                     std::to_string(all.size()) + " readings; give one for each, in the same order");
  for (std::size_t i = 0; i < arguments.pictures.size(); ++i) {
    all[i].picture = relative_to_job(arguments.pictures[i], arguments.file);
    picture_of_job(all[i].picture, arguments.file);  // refuses one that no quote would show
  }
  return all;
}

void report_added(const Job& job, const std::string& panel, const Reading& reading,
                  const AddedReading& added) {
  if (added.already_photo) {
    const JobPhoto& photo = *photo_with_id(job, *added.already_photo);
    warn(reading.photo.name + " is in the job already, as photo " + std::to_string(photo.id) + " (" +
         photo.name + ", panel " + photo.panel +
         "); nothing is added. Void its spots first to add it again.");
    return;
  }
  std::cout << panel << ": " << reading.photo.name << ": ";
  if (reading.status == Status::refused)
    std::cout << "could not be measured" << (reading.refusal ? ": " + reading.refusal->message : "") << "\n";
  else if (added.spots.empty())
    std::cout << "no dent\n";
  else
    std::cout << "spot " << numbers(added.spots) << "\n";
  if (reading.photo.sha256.empty())
    warn(reading.photo.name +
         ": the reading has no hash and the photo is not there; the same photo under "
         "another name would not be noticed");
}

int run_add(const JobArguments& arguments) {
  const std::vector<ReadingToAdd> readings = readings_to_add(arguments);
  const SeverityRules rules = default_severity_rules();
  std::vector<AddedReading> added;
  Job after;
  change_job(arguments.file, JobMustBe::either, [&](Job& job) {
    JobPanel& panel = panel_named(job, arguments.panel);
    add_facts(panel.facts, arguments.facts);
    for (const ReadingToAdd& one : readings)
      added.push_back(add_judged_reading(job, arguments.panel, one.reading,
                                         {program_name(), now_utc(), one.picture}, rules));
    after = job;
    // A photo that is there already is no reason to leave an empty panel behind.
    return !arguments.facts.empty() || std::any_of(added.begin(), added.end(), [](const AddedReading& one) {
      return !one.already_photo.has_value();
    });
  });
  bool all_refused = true;
  for (std::size_t i = 0; i < readings.size(); ++i) {
    report_added(after, arguments.panel, readings[i].reading, added[i]);
    all_refused = all_refused && readings[i].reading.status == Status::refused;
  }
  return all_refused ? exit_refused : exit_ok;
}

Quantity size_by_hand(const JobArguments& arguments) {
  const double value_mm = *arguments.diameter_mm;
  if (arguments.plus_minus_mm && (arguments.low_mm || arguments.high_mm))
    throw UsageError("give either --plus-minus, or --diameter-low and --diameter-high");
  const double half_mm = arguments.plus_minus_mm.value_or(0);
  return {value_mm, arguments.low_mm.value_or(value_mm - half_mm),
          arguments.high_mm.value_or(value_mm + half_mm)};
}

std::optional<Quantity> exact(const std::optional<double>& value_mm) {
  if (!value_mm) return std::nullopt;
  return Quantity{*value_mm, *value_mm, *value_mm};
}

int run_add_hand(const JobArguments& arguments) {
  if (arguments.count < 1 || arguments.count > 1000) throw UsageError("--count must be from 1 to 1000");
  JobSpot spot;
  spot.panel = arguments.panel;
  spot.kind = arguments.kind == "high" ? Kind::high : Kind::low;
  spot.diameter_mm = size_by_hand(arguments);
  spot.length_mm = exact(arguments.length_mm);
  spot.width_mm = exact(arguments.width_mm);
  spot.depth_mm = exact(arguments.depth_mm);
  spot.severity = arguments.severity;
  if (!arguments.severity.empty()) spot.severity_reason = "by hand";
  spot.beyond_pulling = arguments.beyond_pulling;
  spot.facts = arguments.facts;
  spot.notes = arguments.notes;
  std::vector<int> ids;
  change_job(arguments.file, JobMustBe::either, [&](Job& job) {
    for (int i = 0; i < arguments.count; ++i) ids.push_back(add_by_hand(job, spot, now_utc()));
    return true;
  });
  std::cout << arguments.panel << ": spot " << numbers(ids) << ", by hand\n";
  return exit_ok;
}

int run_void(const JobArguments& arguments) {
  change_job(arguments.file, JobMustBe::there, [&](Job& job) {
    for (const int id : arguments.spots) void_spot(job, id, arguments.reason, now_utc());
    return true;
  });
  std::cout << "spot " << numbers(arguments.spots) << " voided: " << arguments.reason << "\n";
  return exit_ok;
}

int run_mark(const JobArguments& arguments) {
  if (arguments.beyond_pulling && arguments.can_be_pulled)
    throw UsageError("a spot is either --beyond-pulling or --can-be-pulled");
  change_job(arguments.file, JobMustBe::there, [&](Job& job) {
    for (const int id : arguments.spots) {
      JobSpot& spot = spot_with_id(job, id);
      add_facts(spot.facts, arguments.facts);
      if (!arguments.severity.empty()) {
        spot.severity = arguments.severity;
        spot.severity_reason = "by hand";
      }
      if (arguments.beyond_pulling || arguments.can_be_pulled) spot.beyond_pulling = arguments.beyond_pulling;
      if (arguments.counts_alone) spot.counts_alone = true;
      add_note(spot.notes, arguments.notes);
    }
    return true;
  });
  std::cout << "spot " << numbers(arguments.spots) << " marked\n";
  return exit_ok;
}

int run_panel(const JobArguments& arguments) {
  std::string facts;
  change_job(arguments.file, JobMustBe::either, [&](Job& job) {
    JobPanel& panel = panel_named(job, arguments.panel);
    add_facts(panel.facts, arguments.facts);
    std::erase_if(panel.facts,
                  [&](const std::string& fact) { return has_fact(arguments.dropped_facts, fact); });
    add_note(panel.notes, arguments.notes);
    facts = joined(panel.facts);
    return true;
  });
  std::cout << arguments.panel << ": " << (facts.empty() ? "nothing special" : facts) << "\n";
  return exit_ok;
}

int run_item(const JobArguments& arguments) {
  change_job(arguments.file, JobMustBe::there, [&](Job& job) {
    set_item(job, arguments.item, arguments.panel, arguments.count);
    return true;
  });
  std::cout << arguments.item << (arguments.panel.empty() ? "" : ", " + arguments.panel) << ": "
            << (arguments.count == 0 ? "not wanted any more" : std::to_string(arguments.count) + " wanted")
            << "\n";
  return exit_ok;
}

/// The spot that stands for this one, seen in another photo as well; nothing for one that stands for itself.
std::optional<int> stands_for(const std::vector<CountedSpot>& counted, int id) {
  for (const CountedSpot& one : counted)
    if (std::find(one.also_seen.begin(), one.also_seen.end(), id) != one.also_seen.end()) return one.id;
  return std::nullopt;
}

std::string spot_text(const Job& job, const JobSpot& spot, std::optional<int> counted_as) {
  const Display plain({"XXX", 2}, "");
  std::string text = padded_left(std::to_string(spot.id), 5) + "  " +
                     padded_right(plain.millimetres(spot.diameter_mm), 23) +
                     padded_right(to_string(spot.kind), 6);
  std::vector<std::string> parts;
  if (!spot.severity.empty()) parts.push_back(spot.severity);
  if (spot.beyond_pulling) parts.emplace_back("beyond pulling");
  for (const std::string& fact : spot.facts) parts.push_back(fact);
  parts.push_back(spot.by_hand() ? "by hand" : photo_with_id(job, *spot.photo)->name);
  if (spot.voided)
    parts.push_back("VOID: " + spot.voided->reason);
  else if (counted_as)
    parts.emplace_back("counted as spot " + std::to_string(*counted_as));
  const std::vector<std::string> lines = wrapped(joined(parts), 44);
  for (std::size_t i = 0; i < lines.size(); ++i)
    text += (i == 0 ? "" : std::string(36, ' ')) + lines[i] + "\n";
  return text;
}

void list_panel(const Job& job, const JobPanel& panel, const std::vector<CountedSpot>& counted, bool all) {
  std::string heading = panel.name;
  for (std::size_t i = 0; i < panel.facts.size(); ++i) heading += (i == 0 ? ": " : ", ") + panel.facts[i];
  std::cout << "\n" << heading << "\n";
  if (!panel.notes.empty()) std::cout << "  " << panel.notes << "\n";
  for (const JobSpot& spot : job.spots) {
    if (spot.panel != panel.name || (spot.voided && !all)) continue;
    std::cout << spot_text(job, spot, stands_for(counted, spot.id));
  }
  for (const JobItem& item : job.items)
    if (item.panel == panel.name) std::cout << "       " << item.count << " x " << item.name << "\n";
}

/// Whether the photo, or another one under its name, came again.
bool came_again(const Job& job, const JobPhoto& photo) {
  return std::any_of(job.photos.begin(), job.photos.end(), [&](const JobPhoto& other) {
    return other.id > photo.id && ((other.panel == photo.panel && other.name == photo.name) ||
                                   (!photo.sha256.empty() && other.sha256 == photo.sha256));
  });
}

void list_refused(const Job& job) {
  bool first = true;
  for (const JobPhoto& photo : job.photos) {
    if (photo.status != Status::refused || came_again(job, photo)) continue;
    if (std::exchange(first, false)) std::cout << "\nPhotos that could not be measured\n";
    const std::string remedy =
        photo.refusal ? ": " + photo.refusal->message + " " + photo.refusal->remedy : "";
    for (const std::string& line : wrapped(photo.panel + ", " + photo.name + remedy, 76))
      std::cout << "  " << line << "\n";
  }
}

int run_list(const JobArguments& arguments) {
  const Job job = read_job(arguments.file);
  std::vector<SizeBand> bands = plain_bands();
  SizeMeasure size_by = SizeMeasure::diameter;
  if (!arguments.prices.empty()) {
    const PriceTable table = read_prices(arguments.prices);
    bands = table.bands;
    size_by = table.size_by;
  }
  const std::vector<CountedSpot> counted = merge_overlapping(job);
  std::cout << (job.vehicle.empty() ? arguments.file : job.vehicle) << "\n";
  if (!job.notes.empty()) std::cout << job.notes << "\n";
  for (const JobPanel& panel : job.panels) list_panel(job, panel, counted, arguments.all);
  for (const JobItem& item : job.items)
    if (item.panel.empty()) std::cout << "\n" << item.count << " x " << item.name << ", whole job\n";
  list_refused(job);
  const auto voided = std::count_if(job.spots.begin(), job.spots.end(),
                                    [](const JobSpot& spot) { return spot.voided.has_value(); });
  if (voided > 0 && !arguments.all) std::cout << "\n" << voided << " voided, not shown; --all shows them\n";
  if (!job.panels.empty()) std::cout << "\n" << bar_chart(count_spots(job, counted, bands, size_by));
  return exit_ok;
}

/// Declares one of the job's own commands. All share one set of arguments; only one of them runs.
CLI::App* add_action(CLI::App& command, ChosenCommand& chosen, const std::shared_ptr<JobArguments>& arguments,
                     const std::string& name, const std::string& text, int (*run)(const JobArguments&)) {
  auto* action = command.add_subcommand(name, text);
  action->add_option("JOB", arguments->file, "Job file (JSON)")->required();
  action->callback([arguments, run, &chosen] { chosen = [arguments, run] { return run(*arguments); }; });
  return action;
}

void add_spot_options(CLI::App& action, JobArguments& arguments) {
  action.add_option("--spot", arguments.spots, "Number of the spot, as `job list` shows it; several: 2,5,6")
      ->delimiter(',')
      ->allow_extra_args(false)
      ->required()
      ->type_name("N");
}

void add_hand_options(CLI::App& action, JobArguments& arguments) {
  action.add_option("--panel", arguments.panel, "Panel")->required();
  action.add_option("--diameter", arguments.diameter_mm, "Diameter of the spot")->required()->type_name("MM");
  action.add_option("--plus-minus", arguments.plus_minus_mm, "How sure the diameter is")->type_name("MM");
  action.add_option("--diameter-low", arguments.low_mm, "Its least")->type_name("MM");
  action.add_option("--diameter-high", arguments.high_mm, "Its most")->type_name("MM");
  action.add_option("--length", arguments.length_mm, "Length of a crease")->type_name("MM");
  action.add_option("--width", arguments.width_mm, "Width of a crease")->type_name("MM");
  action.add_option("--depth", arguments.depth_mm, "Depth, or height of a high spot")->type_name("MM");
  action.add_option("--kind", arguments.kind, "low or high")
      ->check(CLI::IsMember({"low", "high"}))
      ->capture_default_str();
  action.add_option("--severity", arguments.severity, "Grade, in the price file's words");
  action.add_flag("--beyond-pulling", arguments.beyond_pulling, "Pulling will not mend it");
  action.add_option("--fact", arguments.facts, "What costs extra, such as \"body line\"; several times")
      ->allow_extra_args(false);
  action.add_option("--count", arguments.count, "So many of the same")->capture_default_str();
  action.add_option("--notes", arguments.notes, "Free text");
}

}  // namespace

void add_job_command(CLI::App& app, ChosenCommand& chosen) {
  auto* command = app.add_subcommand("job", "Gather the spots of a vehicle: add, void, mark, list");
  command->require_subcommand(1);
  command->footer(examples);
  auto arguments = std::make_shared<JobArguments>();
  const auto action = [&](const char* name, const char* text, int (*run)(const JobArguments&)) {
    return add_action(*command, chosen, arguments, name, text, run);
  };

  auto* fresh = action("new", "Begin a job file", run_new);
  fresh->add_option("--vehicle", arguments->vehicle, "Any label that tells it from others");
  fresh->add_option("--notes", arguments->notes, "Free text");

  auto* add = action("add", "Add the spots of readings to a panel", run_add);
  add->add_option("--panel", arguments->panel, "Panel, such as bonnet")->required();
  add->add_option("READING", arguments->readings, "Readings that `measure --json` wrote")->required();
  add->add_option("--fact", arguments->facts, "Fact of the panel, such as aluminium; several times")
      ->allow_extra_args(false);
  add->add_option("--picture", arguments->pictures,
                  "Annotated picture of each reading, as evidence; once for each")
      ->allow_extra_args(false)
      ->type_name("FILE");
  add->add_flag("--draw", arguments->draw, "Draw annotated pictures into the folder JOB-pictures");

  add_hand_options(*action("add-hand", "Add a spot that was sized by hand", run_add_hand), *arguments);

  auto* voiding = action("void", "Make spots count no more, with a reason", run_void);
  add_spot_options(*voiding, *arguments);
  voiding->add_option("--reason", arguments->reason, "Why")->required();

  auto* mark = action("mark", "Say more of spots: facts, grade, beyond pulling", run_mark);
  add_spot_options(*mark, *arguments);
  mark->add_option("--fact", arguments->facts, "What costs extra, such as \"body line\"; several times")
      ->allow_extra_args(false);
  mark->add_option("--severity", arguments->severity, "Grade, in the price file's words");
  mark->add_flag("--beyond-pulling", arguments->beyond_pulling, "Pulling will not mend it");
  mark->add_flag("--can-be-pulled", arguments->can_be_pulled, "Takes that back");
  mark->add_flag("--counts-alone", arguments->counts_alone, "Never take it for a spot of another photo");
  mark->add_option("--notes", arguments->notes, "Free text");

  auto* panel = action("panel", "Say what is true of a whole panel", run_panel);
  panel->add_option("PANEL", arguments->panel, "Panel, such as bonnet")->required();
  panel->add_option("--fact", arguments->facts, "Such as aluminium, repainted, \"no access\"; several times")
      ->allow_extra_args(false);
  panel->add_option("--drop-fact", arguments->dropped_facts, "Takes a fact back")->allow_extra_args(false);
  panel->add_option("--notes", arguments->notes, "Free text");

  auto* item = action("item", "Ask for other work by its name in the price file", run_item);
  item->add_option("NAME", arguments->item, "Such as \"remove and refit\"")->required();
  item->add_option("--panel", arguments->panel, "For this panel; else for the whole job");
  item->add_option("--count", arguments->count, "How often; 0 takes it back")->capture_default_str();

  auto* list = action("list", "Show the spots, and how many of which size on which panel", run_list);
  list->add_flag("--all", arguments->all, "Voided ones too");
  list->add_option("--prices", arguments->prices, "Count by the size bands of this price file")
      ->type_name("FILE");
}

}  // namespace ripplegauge::cli
