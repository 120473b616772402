// `next`: what to do after a pull, from the readings before and after it.
#include <iostream>

#include "app/request.hpp"
#include "app/same_peel.hpp"
#include "command.hpp"
#include "files/advice_file.hpp"
#include "files/atomic_write.hpp"
#include "files/panel_photo.hpp"
#include "option_hints.hpp"
#include "panel_options.hpp"
#include "photo_options.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "wording_options.hpp"

namespace ripplegauge::cli {
namespace {

constexpr const char* examples =
    R"(Leave the card where it is between the photos: spots are matched by their place. "Done" is said
only where the photo after would have shown what is left, and where it is the same place. Where no
spot is left to prove that, the paint's orange peel may: keep the photos beside the readings.

Examples:
  ripplegauge next before.json after.json
  ripplegauge next before.json after.json --kit mykit.json --material steel --paint original --air 18)";

struct NextArguments {
  std::string before, after, json, profile;
  bool card_moved = false, card_still = false, full = false;
  ShownUnits units;
  std::shared_ptr<PanelArguments> panel;
};

Reading single_reading(const std::string& file) {
  std::vector<Reading> readings = read_readings(file);
  if (readings.size() != 1)
    throw UsageError(file + " holds " + std::to_string(readings.size()) +
                     " readings; `next` needs a file with one");
  return std::move(readings.front());
}

int run_next(const NextArguments& arguments) {
  const PanelFacts facts = panel_facts_of(*arguments.panel);
  const AdviceData data = advice_data_for(*arguments.panel, arguments.profile);
  const Reading before = single_reading(arguments.before), after = single_reading(arguments.after);
  CompareOptions options;
  if (arguments.card_moved) options.alignment.placement = CardPlacement::moved;
  if (arguments.card_still) options.alignment.placement = CardPlacement::same;
  options.same_peel = [&](const Reading&, const Reading&) {
    SaidOfPhotos said;
    said.profile_file = arguments.profile;
    return same_peel({before, photo_of(before, arguments.before)}, {after, photo_of(after, arguments.after)},
                     card_for(said, data_dir()), processors());
  };
  const NextStep next = next_step(before, after, facts, data, options);
  if (!arguments.json.empty()) write_atomically(arguments.json, next_to_json(next));
  std::cout << next_to_text(next, arguments.full) << card_hint(next.place);
  return before.status == Status::refused || after.status == Status::refused ? exit_refused : exit_ok;
}

}  // namespace

void add_next_command(CLI::App& app, ChosenCommand& chosen) {
  auto* command = app.add_subcommand("next", "After a pull: pull again, tap down, level a ring, or stop");
  auto arguments = std::make_shared<NextArguments>();
  command->add_option("BEFORE", arguments->before, "The reading before the pull")->required();
  command->add_option("AFTER", arguments->after, "The reading after it")->required();
  command->add_option("--json", arguments->json, "Write the advice as JSON")->type_name("FILE");
  auto* moved =
      command->add_flag("--card-moved", arguments->card_moved, "The card was moved between the photos");
  command->add_flag("--card-still", arguments->card_still, "The card was not moved between the photos")
      ->excludes(moved);
  command->add_flag("--full", arguments->full, "With every reason and caution");
  arguments->panel = add_panel_options(*command);
  add_profile_option(*command, arguments->profile);
  add_unit_options(*command, arguments->units);
  command->footer(examples);
  command->callback([arguments, &chosen] { chosen = [arguments] { return run_next(*arguments); }; });
}

}  // namespace ripplegauge::cli
