#include <iostream>
#include <memory>
#include <optional>
#include <vector>

#include "command.hpp"
#include "panel_options.hpp"
#include "reading_table.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/files/advice_file.hpp"
#include "ripplegauge/files/atomic_write.hpp"
#include "ripplegauge/files/board_file.hpp"
#include "ripplegauge/files/card_file.hpp"
#include "ripplegauge/files/reading_file.hpp"
#include "ripplegauge/files/relief_file.hpp"
#include "ripplegauge/files/workshop_file.hpp"
#include "ripplegauge/measure/measure.hpp"
#include "ripplegauge/photo/photo.hpp"
#include "ripplegauge/picture/annotate.hpp"
#include "ripplegauge/picture/relief_map.hpp"

namespace ripplegauge::cli {
namespace {

struct MeasureArguments {
  std::vector<std::string> photos;
  std::optional<double> pitch_mm, distance_mm, bar_mm;
  std::string board_file, card_file, profile_file, json_file, relief_file, picture_file, relief_picture_file;
  bool budget = false, no_plan = false;
  std::shared_ptr<PanelArguments> panel;
};

/// The command line goes before the workshop profile, the profile before what comes with the program.
MeasureRequest request_from(const MeasureArguments& a) {
  WorkshopProfile profile;
  if (!a.profile_file.empty()) profile = read_workshop(a.profile_file);
  MeasureRequest request;
  std::filesystem::path card = data_dir() / "card-corner.json";
  if (profile.card_file) card = *profile.card_file;
  if (!a.card_file.empty()) card = a.card_file;
  request.card = read_card(card);
  if (!a.board_file.empty()) request.board = read_board(a.board_file);
  else if (profile.board_file && !a.pitch_mm) request.board = read_board(*profile.board_file);
  request.board_pitch_mm = a.pitch_mm ? *a.pitch_mm : profile.board_pitch_mm.value_or(0);
  if (!request.board && request.board_pitch_mm == 0)
    throw UsageError("the board's pitch is missing: give --board-pitch MM (one light plus one dark stripe), --board FILE, or a --profile that has it");
  request.board_distance_mm = a.distance_mm ? a.distance_mm : profile.board_distance_mm;
  request.bar_length_mm = a.bar_mm ? *a.bar_mm : profile.bar_length_mm.value_or(100);
  return request;
}

/// Grades the spots, as the workshop's rules have it.
void grade(Reading& reading, const PanelFacts& facts, const SeverityRules& rules) {
  for (Dent& dent : reading.dents) {
    const SeverityAssessment severity = assess_severity(dent, facts, rules);
    dent.severity = severity.word;
    dent.severity_reason = severity.reason;
  }
}

void write_picture(const std::string& file, const std::string& photo, const Reading& reading, const CoinSet& coins) {
  constexpr int picture_side_px = 2400;
  AnnotateInput input{read_photo_colour(photo, picture_side_px), reading, {}};
  for (const Dent& dent : reading.dents) input.coins.push_back(in_coins(coins, dent.diameter_mm.value));
  write_atomically(file, encode_for_name(annotated_picture(input).bgr, file));
}

int run_measure(const MeasureArguments& a) {
  const MeasureRequest request = request_from(a);
  const bool one_file_each = !a.picture_file.empty() || !a.relief_file.empty() || !a.relief_picture_file.empty();
  if (one_file_each && a.photos.size() > 1)
    throw UsageError("--picture, --relief and --relief-picture make one file from one photo; " + std::to_string(a.photos.size()) + " photos were given");
  const AdviceData advice = advice_data_for(*a.panel);
  std::vector<Reading> readings;
  bool refused = false;
  for (const std::string& name : a.photos) {
    Measurement m = measure(read_photo(name), request);
    grade(m.reading, a.panel->facts, advice.severity);
    refused |= m.reading.status == Status::refused;
    std::cout << reading_table(m.reading, {.budget = a.budget, .coins = &advice.coins});
    if (!a.no_plan && m.reading.status == Status::measured)
      std::cout << "\n" << plan_to_text(make_plan(m.reading, a.panel->facts, advice));
    if (!a.picture_file.empty()) write_picture(a.picture_file, name, m.reading, advice.coins);
    if (!a.relief_file.empty() && !m.relief.empty()) write_relief(a.relief_file, m.relief);
    if (!a.relief_picture_file.empty())
      write_atomically(a.relief_picture_file, encode_for_name(relief_map(m.relief, m.reading.dents).bgr, a.relief_picture_file));
    readings.push_back(std::move(m.reading));
  }
  if (!a.json_file.empty()) write_atomically(a.json_file, readings_to_json(readings));
  return refused ? exit_refused : exit_ok;
}

}  // namespace

void add_measure_command(CLI::App& app, ChosenCommand& chosen) {
  auto a = std::make_shared<MeasureArguments>();
  auto* command = app.add_subcommand("measure", "Measure the dents in a photo of striped reflection and card");
  command->add_option("PHOTO", a->photos, "Photo: JPEG, PNG or HEIC")->required();
  command->add_option("--board-pitch", a->pitch_mm, "One light plus one dark stripe of the board, mm")->type_name("MM");
  command->add_option("--board-distance", a->distance_mm, "Tape from the dent to the stripes seen in it, mm")->type_name("MM");
  command->add_option("--bar-length", a->bar_mm, "What the card's 100 mm check bar really measures, mm")->type_name("MM");
  command->add_option("--board", a->board_file, "Board file of a tagged board")->type_name("FILE");
  command->add_option("--card", a->card_file, "Card file, if not the standard corner card")->type_name("FILE");
  command->add_option("--profile", a->profile_file, "Workshop profile with the values that stay the same")->type_name("FILE");
  command->add_option("--json", a->json_file, "Write the reading to this file")->type_name("FILE");
  command->add_option("--relief", a->relief_file, "Write the height map: .csv grid or .png 16 bit")->type_name("FILE");
  command->add_option("--picture", a->picture_file, "Draw the spots onto the photo: .png or .jpg")->type_name("FILE");
  command->add_option("--relief-picture", a->relief_picture_file, "Draw the height map in colours: .png or .jpg")->type_name("FILE");
  command->add_flag("--no-plan", a->no_plan, "Only measure, no plan");
  a->panel = add_panel_options(*command);
  command->add_flag("--budget", a->budget, "List the uncertainty budget term by term");
  command->footer(
      "Examples:\n"
      "  ripplegauge measure dent.jpg --board-pitch 16 --board-distance 320 --bar-length 99.4\n"
      "  ripplegauge measure dent.jpg --profile workshop.json --json dent.json\n");
  command->callback([a, &chosen] { chosen = [a] { return run_measure(*a); }; });
}

}  // namespace ripplegauge::cli
