// `plan`: from a reading to steps, as text, JSON or a sheet to print.
#include <algorithm>
#include <iostream>

#include "app/request.hpp"
#include "command.hpp"
#include "files/advice_file.hpp"
#include "files/atomic_write.hpp"
#include "files/panel_photo.hpp"
#include "option_hints.hpp"
#include "panel_options.hpp"
#include "photo_options.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "sheet/plan_sheet.hpp"
#include "wording_options.hpp"

namespace ripplegauge::cli {
namespace {

constexpr const char* examples =
    R"(Ten lines or so; --full and the printed sheet say all of it. What you do not say is treated
cautiously, and asked for at the end.

Examples:
  ripplegauge plan dent.json
  ripplegauge plan dent.json --material steel --paint original --coating none --place open --air 18
  ripplegauge plan dent.json --kit mykit.json --sheet plan.pdf --json plan.json
  ripplegauge plan dent.json --facts bonnet.json --air 26

Files to start from, with invented values: kit-sample.json and panel-sample.json in the data folder.)";

struct PlanArguments {
  std::string reading, json, sheet, paper = "a4", profile;
  bool full = false;
  ShownUnits units;
  std::shared_ptr<PanelArguments> panel;
};

/// The photo under the drawing, where it is still there and can be read.
PanelView view_of(const Reading& reading, const PlanArguments& arguments) {
  const std::filesystem::path photo = photo_of(reading, arguments.reading);
  if (photo.empty() || reading.dents.empty()) return {};
  try {
    SaidOfPhotos said;
    said.profile_file = arguments.profile;
    const CardDefinition card = ripplegauge::card_for(said, data_dir());
    return panel_view(read_panel_photo(photo, card, reading.setup.bar_length_mm));
  } catch (const FileError& error) {
    std::cerr << "ripplegauge: the sheet is drawn without the photo: " << error.what() << "\n";
    return {};
  }
}

int run_plan(const PlanArguments& arguments) {
  const PanelFacts facts = panel_facts_of(*arguments.panel);
  const AdviceData data = advice_data_for(*arguments.panel, arguments.profile);
  const std::vector<Reading> readings = read_readings(arguments.reading);
  if (!arguments.sheet.empty() && readings.size() != 1)
    throw UsageError("--sheet makes one page from one reading; " + arguments.reading + " holds " +
                     std::to_string(readings.size()));
  std::vector<Plan> plans;
  plans.reserve(readings.size());
  for (const Reading& reading : readings) plans.push_back(make_plan(reading, facts, data));

  if (!arguments.json.empty()) write_atomically(arguments.json, plans_to_json(plans));
  if (!arguments.sheet.empty())
    write_atomically(arguments.sheet,
                     plan_sheet_pdf(plans.front(), arguments.paper == "letter" ? Paper::letter : Paper::a4,
                                    view_of(readings.front(), arguments), arguments.units));
  for (std::size_t i = 0; i < plans.size(); ++i)
    std::cout << (i > 0 ? "\n" : "") << plan_to_text(plans[i], arguments.full)
              << plan_hints(plans[i], arguments.full);
  const bool all_refused = std::all_of(readings.begin(), readings.end(), [](const Reading& reading) {
    return reading.status == Status::refused;
  });
  return all_refused ? exit_refused : exit_ok;
}

}  // namespace

void add_plan_command(CLI::App& app, ChosenCommand& chosen) {
  auto* command =
      app.add_subcommand("plan", "What to do with a measured dent: tab, puller, preparation, temperatures");
  auto arguments = std::make_shared<PlanArguments>();
  command->add_option("READING", arguments->reading, "A reading that `measure --json` wrote")->required();
  command->add_flag("--full", arguments->full, "With preparation, reasons, alternatives and all cautions");
  command->add_option("--json", arguments->json, "Write the plan as JSON")->type_name("FILE");
  command
      ->add_option("--sheet", arguments->sheet,
                   "Write a sheet to print (PDF): ten lines and the spot at true size, then every step")
      ->type_name("FILE");
  command->add_option("--paper", arguments->paper, "Of the sheet: a4, letter")
      ->transform(CLI::IsMember({"a4", "letter"}, CLI::ignore_case))
      ->type_name("SIZE")
      ->capture_default_str();
  arguments->panel = add_panel_options(*command);
  add_profile_option(*command, arguments->profile);
  add_unit_options(*command, arguments->units);
  command->footer(examples);
  command->callback([arguments, &chosen] { chosen = [arguments] { return run_plan(*arguments); }; });
}

}  // namespace ripplegauge::cli
