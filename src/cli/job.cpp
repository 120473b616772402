// `job`: gathers the spots of a vehicle and changes them by hand. Each action is a command of its own; all
// share one set of arguments.
#include <algorithm>
#include <cstdio>
#include <cstdlib>
#include <iostream>
#include <memory>

#include "app/clock.hpp"
#include "app/job_parts.hpp"
#include "app/job_pictures.hpp"
#include "command.hpp"
#include "core/joined.hpp"
#include "files/job_file.hpp"
#include "job_actions.hpp"
#include "option_hints.hpp"
#include "output_filter.hpp"
#include "ripplegauge/core/errors.hpp"
#include "terminal.hpp"
#include "wording_options.hpp"
#include "words/text.hpp"

namespace ripplegauge::cli {

void warn(const std::string& message) { std::cerr << "ripplegauge: " << one_line(message) << "\n"; }

std::string numbers(const std::vector<int>& ids) {
  std::string text;
  for (const int id : ids) text += (text.empty() ? "" : ", ") + std::to_string(id);
  return text;
}

void add_facts(std::vector<std::string>& facts, const std::vector<std::string>& more) {
  for (const std::string& fact : more)
    if (!has_fact(facts, fact)) facts.push_back(fact);
}

void redraw(const JobArguments& arguments, const std::vector<int>& spots) {
  std::vector<std::string> left;
  change_job(arguments.file, JobMustBe::there, [&](const Job& job) {
    left = redraw_for_job(job, spots, arguments.file);
    return false;
  });
  for (const std::string& one : left) warn(one);
}

namespace {

constexpr const char* examples =
    R"(A job file holds the spots of one vehicle, with their sizes and where they came from. Spots are
voided with a reason, never removed; the pictures that were drawn for the job then show them no more.
Vehicle, notes and facts are your own words; nothing personal is needed.

Examples:
  ripplegauge job new estate.json --vehicle "blue estate, bay 2"
  ripplegauge job panel estate.json bonnet --fact aluminium --fact "ceramic coating"
  ripplegauge job add estate.json --panel bonnet bonnet-1.json bonnet-2.json --draw
  ripplegauge job add-hand estate.json --panel roof --diameter 24 --plus-minus 2 --severity moderate
  ripplegauge job mark estate.json --spot 2 --fact "body line"
  ripplegauge job mark estate.json --spot 4 --severity sharp --reason "felt by hand" --who "bay 2"
  ripplegauge job void estate.json --spot 3 --reason "a reflection of the lamp"
  ripplegauge job move estate.json --spot 5 --panel roof --reason "the photo was in the wrong folder"
  ripplegauge job panel estate.json tailgate --checked "by lamp: nothing"
  ripplegauge job set-aside estate.json --photo 7 --reason "taken again"
  ripplegauge job item estate.json "remove and refit" --panel roof
  ripplegauge job list estate.json)";

/// Who says so: the option, else what the environment says for the whole bay.
ByHand by_hand(const JobArguments& arguments) {
  const char* everywhere = std::getenv("RIPPLEGAUGE_WHO");
  std::string who = arguments.who;
  if (who.empty() && everywhere != nullptr) who = everywhere;
  return {printable(who), arguments.reason, now_utc()};
}

/// So that a page says no date that is none.
void check_date(const std::string& date) {
  int year = 0, month = 0, day = 0, used = 0;
  if (date.empty()) return;
  if (std::sscanf(date.c_str(), "%4d-%2d-%2d%n", &year, &month, &day, &used) != 3 || used != 10 ||
      date.size() != 10 || month < 1 || month > 12 || day < 1 || day > 31)
    throw UsageError("a date is written as 2026-04-30, not \"" + printable(date) + "\"");
}

int run_new(const JobArguments& arguments) {
  check_date(arguments.valid_until);
  change_job(arguments.file, JobMustBe::new_file, [&](Job& job) {
    job.vehicle = arguments.vehicle;
    job.notes = arguments.notes;
    job.claim_number = arguments.claim_number;
    job.quote_number = arguments.quote_number;
    job.valid_until = arguments.valid_until;
    return true;
  });
  std::cout << one_line(arguments.file) << ": new job\n";
  return exit_ok;
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
    const ByHand by = by_hand(arguments);
    for (const int id : arguments.spots) void_spot(job, id, by.why, by.date, by.who);
    return true;
  });
  std::cout << "spot " << numbers(arguments.spots) << " voided: " << arguments.reason << "\n";
  redraw(arguments, arguments.spots);
  return exit_ok;
}

int run_unvoid(const JobArguments& arguments) {
  change_job(arguments.file, JobMustBe::there, [&](Job& job) {
    for (const int id : arguments.spots) unvoid_spot(job, id, by_hand(arguments));
    return true;
  });
  std::cout << "spot " << numbers(arguments.spots) << " counts again\n";
  redraw(arguments, arguments.spots);
  return exit_ok;
}

int run_move(const JobArguments& arguments) {
  change_job(arguments.file, JobMustBe::there, [&](Job& job) {
    for (const int id : arguments.spots) move_spot(job, id, arguments.panel, by_hand(arguments));
    return true;
  });
  std::cout << "spot " << numbers(arguments.spots) << " moved to " << arguments.panel << "\n";
  return exit_ok;
}

int run_same(const JobArguments& arguments) {
  change_job(arguments.file, JobMustBe::there, [&](Job& job) {
    join_spots(job, arguments.spots, by_hand(arguments));
    return true;
  });
  std::cout << "spots " << numbers(arguments.spots) << " count as one\n";
  return exit_ok;
}

int run_set_aside(const JobArguments& arguments) {
  change_job(arguments.file, JobMustBe::there, [&](Job& job) {
    set_photo_aside(job, arguments.photo, by_hand(arguments));
    return true;
  });
  std::cout << "photo " << arguments.photo << " set aside: " << arguments.reason << "\n";
  return exit_ok;
}

int run_edit(const JobArguments& arguments) {
  check_date(arguments.valid_until);
  change_job(arguments.file, JobMustBe::there, [&](Job& job) {
    const ByHand by = by_hand(arguments);
    const auto set = [&](const char* key, std::string& value, const std::string& to) {
      if (to.empty() || value == to) return;
      job.changes.push_back({by.date, by.who, "job", key, value, to, by.why});
      value = to;
    };
    set("vehicle", job.vehicle, arguments.vehicle);
    set("notes", job.notes, arguments.notes);
    set("claim number", job.claim_number, arguments.claim_number);
    set("quote number", job.quote_number, arguments.quote_number);
    set("valid until", job.valid_until, arguments.valid_until);
    return true;
  });
  std::cout << arguments.file << ": changed\n";
  return exit_ok;
}

int run_mark(const JobArguments& arguments) {
  if (arguments.beyond_pulling && arguments.can_be_pulled)
    throw UsageError("a spot is either --beyond-pulling or --can-be-pulled");
  SpotByHand by_eye;
  if (arguments.diameter_mm) by_eye.diameter_mm = size_by_hand(arguments);
  by_eye.length_mm = exact(arguments.length_mm);
  by_eye.width_mm = exact(arguments.width_mm);
  by_eye.depth_mm = exact(arguments.depth_mm);
  if (!arguments.severity.empty()) by_eye.severity = arguments.severity;
  if (arguments.beyond_pulling || arguments.can_be_pulled) by_eye.beyond_pulling = arguments.beyond_pulling;
  change_job(arguments.file, JobMustBe::there, [&](Job& job) {
    for (const int id : arguments.spots) {
      change_spot(job, id, by_eye, by_hand(arguments));
      JobSpot& spot = spot_with_id(job, id);
      add_facts(spot.facts, arguments.facts);
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
    const std::string name = arguments.new_name.empty() ? arguments.panel : arguments.new_name;
    if (!arguments.new_name.empty()) rename_panel(job, arguments.panel, name, by_hand(arguments));
    panel_named(job, name);
    for (const std::string& fact : arguments.dropped_facts) drop_fact(job, name, fact, by_hand(arguments));
    JobPanel& panel = panel_named(job, name);
    add_facts(panel.facts, arguments.facts);
    add_note(panel.notes, arguments.notes);
    if (!arguments.checked.empty()) {
      const ByHand by = by_hand(arguments);
      job.changes.push_back({by.date, by.who, "panel " + name, "looked at", "", arguments.checked, by.why});
      panel.checked = arguments.checked;
    }
    facts = joined(panel.facts);
    return true;
  });
  std::cout << (arguments.new_name.empty() ? arguments.panel : arguments.new_name) << ": "
            << (facts.empty() ? "nothing special" : facts) << "\n";
  return exit_ok;
}

int run_item(const JobArguments& arguments) {
  change_job(arguments.file, JobMustBe::there, [&](Job& job) {
    if (arguments.price.empty())
      set_item(job, arguments.item, arguments.panel, arguments.count);
    else
      set_one_off(job, arguments.item, arguments.panel, arguments.count, arguments.price, arguments.untaxed);
    return true;
  });
  std::cout << arguments.item << (arguments.panel.empty() ? "" : ", " + arguments.panel) << ": "
            << (arguments.count == 0 ? "not wanted any more" : std::to_string(arguments.count) + " wanted")
            << "\n";
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

void add_vehicle_options(CLI::App& action, JobArguments& arguments) {
  action.add_option("--vehicle", arguments.vehicle, "Any label that tells it from others");
  action.add_option("--notes", arguments.notes, "Free text");
  action.add_option("--claim", arguments.claim_number, "Claim number, for the quote");
  action.add_option("--quote-number", arguments.quote_number, "Number of the quote");
  action.add_option("--valid-until", arguments.valid_until, "Last day of the quote")->type_name("YYYY-MM-DD");
}

/// Of a change by hand, who and why.
void add_by_hand_options(CLI::App& action, JobArguments& arguments) {
  action.add_option("--reason", arguments.reason, "Why; kept in the job and shown in the quote");
  action.add_option("--who", arguments.who, "Who says so: a label; else what RIPPLEGAUGE_WHO says");
}

void add_size_options(CLI::App& action, JobArguments& arguments) {
  action.add_option("--diameter", arguments.diameter_mm, "Diameter of the spot")->type_name("MM");
  action.add_option("--plus-minus", arguments.plus_minus_mm, "How sure the diameter is")->type_name("MM");
  action.add_option("--diameter-low", arguments.low_mm, "Its least")->type_name("MM");
  action.add_option("--diameter-high", arguments.high_mm, "Its most")->type_name("MM");
  action.add_option("--length", arguments.length_mm, "Length of a crease")->type_name("MM");
  action.add_option("--width", arguments.width_mm, "Width of a crease")->type_name("MM");
  action.add_option("--depth", arguments.depth_mm, "Depth, or height of a high spot")->type_name("MM");
}

void add_hand_options(CLI::App& action, JobArguments& arguments) {
  action.add_option("--panel", arguments.panel, "Panel")->required();
  add_size_options(action, arguments);
  action.get_option("--diameter")->required();
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
  add_vehicle_options(*fresh, *arguments);

  auto* add = action("add", "Add the spots of readings to a panel", run_add);
  add->add_option("--panel", arguments->panel,
                  "Panel, such as bonnet; a vehicle's file of the page says its own");
  add->add_option("READING", arguments->readings,
                  "Readings that `measure --json` wrote, or a vehicle's file of the page")
      ->required();
  add->add_option("--fact", arguments->facts, "Fact of the panel, such as aluminium; several times")
      ->allow_extra_args(false);
  add->add_option("--picture", arguments->pictures,
                  "Annotated picture of each reading, as evidence; once for each")
      ->allow_extra_args(false)
      ->type_name("FILE");
  add->add_flag("--draw", arguments->draw, "Draw annotated pictures into the folder JOB-pictures");
  add->add_option("--language", arguments->wording.language, "Of these pictures: de, en, or your own texts")
      ->type_name("WORD");
  add->add_option("--locale", arguments->wording.locale, "How numbers are written in them, such as de-DE")
      ->type_name("WORD");
  add_unit_options(*add, arguments->wording.units);

  add_hand_options(*action("add-hand", "Add a spot that was sized by hand", run_add_hand), *arguments);

  auto* voiding = action("void", "Make spots count no more, with a reason", run_void);
  add_spot_options(*voiding, *arguments);
  add_by_hand_options(*voiding, *arguments);

  auto* unvoiding = action("unvoid", "Make voided spots count again, with a reason", run_unvoid);
  add_spot_options(*unvoiding, *arguments);
  add_by_hand_options(*unvoiding, *arguments);

  auto* move = action("move", "Move spots to another panel, with a reason", run_move);
  add_spot_options(*move, *arguments);
  move->add_option("--panel", arguments->panel, "Panel to move them to")->required();
  add_by_hand_options(*move, *arguments);

  auto* same = action("same", "Say that spots of several photos are one", run_same);
  add_spot_options(*same, *arguments);
  add_by_hand_options(*same, *arguments);

  auto* aside = action("set-aside", "Say that a refused photo is not needed any more", run_set_aside);
  aside->add_option("--photo", arguments->photo, "Number of the photo, as `job list` shows it")
      ->required()
      ->type_name("N");
  add_by_hand_options(*aside, *arguments);

  auto* edit = action("edit", "Change what the job says of the vehicle", run_edit);
  add_vehicle_options(*edit, *arguments);
  add_by_hand_options(*edit, *arguments);

  auto* mark = action("mark", "Say more of spots: facts, grade, beyond pulling", run_mark);
  add_spot_options(*mark, *arguments);
  mark->add_option("--fact", arguments->facts, "What costs extra, such as \"body line\"; several times")
      ->allow_extra_args(false);
  mark->add_option("--severity", arguments->severity, "Grade, in the price file's words");
  mark->add_flag("--beyond-pulling", arguments->beyond_pulling, "Pulling will not mend it");
  mark->add_flag("--can-be-pulled", arguments->can_be_pulled, "Takes that back");
  mark->add_flag("--counts-alone", arguments->counts_alone, "Never take it for a spot of another photo");
  add_size_options(*mark, *arguments);
  mark->add_option("--notes", arguments->notes, "Free text");
  add_by_hand_options(*mark, *arguments);

  auto* panel = action("panel", "Say what is true of a whole panel", run_panel);
  panel->add_option("PANEL", arguments->panel, "Panel, such as bonnet")->required();
  panel->add_option("--fact", arguments->facts, "Such as aluminium, repainted, \"no access\"; several times")
      ->allow_extra_args(false);
  panel->add_option("--drop-fact", arguments->dropped_facts, "Takes a fact back")->allow_extra_args(false);
  panel->add_option("--notes", arguments->notes, "Free text");
  panel->add_option("--rename", arguments->new_name, "Another name for it");
  panel->add_option("--checked", arguments->checked,
                    "How it was looked at without a photo, and what was found: \"by lamp: nothing\"");
  add_by_hand_options(*panel, *arguments);

  auto* item = action("item", "Ask for other work by its name in the price file", run_item);
  item->add_option("NAME", arguments->item, "Such as \"remove and refit\"")->required();
  item->add_option("--panel", arguments->panel, "For this panel; else for the whole job");
  item->add_option("--count", arguments->count, "How often; 0 takes it back")->capture_default_str();
  item->add_option("--price", arguments->price,
                   "Of work that no price file has: what one costs, such as 12.50");
  item->add_flag("--untaxed", arguments->untaxed, "With --price: no tax is taken of it")->needs("--price");

  auto* list = action("list", "Show the spots, and how many of which size on which panel", run_list);
  list->add_option("--json", arguments->json, "Write the list as JSON")->type_name("FILE");
  list->add_flag("--all", arguments->all, "Voided ones too");
  list->add_option("--prices", arguments->prices, "Count by the size bands of this price file")
      ->type_name("FILE");
}

}  // namespace ripplegauge::cli
