// `measure`: photos one by one, or a folder into a job.
#include "ripplegauge/measure/measure.hpp"

#include <algorithm>
#include <filesystem>
#include <iostream>
#include <memory>
#include <optional>
#include <vector>

#include "app/job_parts.hpp"
#include "command.hpp"
#include "files/advice_file.hpp"
#include "files/atomic_write.hpp"
#include "files/relief_file.hpp"
#include "folder_command.hpp"
#include "memory.hpp"
#include "option_hints.hpp"
#include "panel_options.hpp"
#include "photo_options.hpp"
#include "picture/annotate.hpp"
#include "picture/relief_map.hpp"
#include "reading_table.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "ripplegauge/measure/together.hpp"
#include "ripplegauge/photo/photo.hpp"
#include "wording_options.hpp"

namespace ripplegauge::cli {
namespace {

constexpr const char* examples =
    R"(A folder: its first sub-folder is the panel (estate/bonnet/IMG_2034.jpg). Photos that lie in none are
named like bonnet-3.jpg, or else they all show the panel that the folder is named after. In a
--panel-pattern {panel} stands for the panel's name, # for a number, * for anything. All photos are
measured, whatever is wrong with one; stopped half-way, the same command goes on where it was.
Spots seen in two photos of a panel count once if the card was left where it is.
With --sets, photos of one place are read as one: bonnet/dent1/*.jpg, or those taken
within moments of each other, where they agree.

Examples:
  ripplegauge measure dent.jpg --board-pitch 16 --bar-length 99.4
  ripplegauge measure dent.jpg --profile workshop.json --json dent.json
  ripplegauge measure a.jpg b.jpg c.jpg --together --profile workshop.json
  ripplegauge measure estate/ --profile workshop.json --job estate.json
  ripplegauge measure phone/ --profile workshop.json --job estate.json --panel-pattern "*_{panel}_#")";

struct MeasureArguments {
  std::vector<std::string> photos;
  std::string json_file, relief_file, picture_file, relief_picture_file;
  ShownUnits units;
  bool budget = false, plan = false, together = false;
  FolderArguments folder;
  std::shared_ptr<PhotoArguments> photo;
  std::shared_ptr<PanelArguments> panel;
};

void write_picture(const MeasureArguments& a, const std::string& photo, const Reading& reading,
                   const CoinSet& coins) {
  constexpr int picture_side_px = 2400;
  AnnotateInput input{read_photo_colour(photo, picture_side_px), reading, {}, Wording::plain().in(a.units)};
  for (const Dent& dent : reading.dents) input.coins.push_back(in_coins(coins, dent.diameter_mm.value));
  write_atomically(a.picture_file, encode_for_name(annotated_picture(input).bgr, a.picture_file));
}

bool is_folder(const std::string& name) {
  std::error_code ignored;
  return std::filesystem::is_directory(name, ignored);
}

int run_folder(const MeasureArguments& a) {
  if (a.photos.size() > 1) throw UsageError("give one folder, or photos, not both");
  if (a.together) throw UsageError("--together goes with photos of one place, not with a folder");
  if (!a.picture_file.empty() || !a.relief_file.empty() || !a.relief_picture_file.empty() || a.budget)
    throw UsageError("--picture, --relief, --relief-picture and --budget go with photos, not with a folder");
  FolderArguments folder = a.folder;
  folder.folder = a.photos.front();
  folder.json_file = a.json_file;
  folder.photo = *a.photo;
  folder.facts = panel_facts_of(*a.panel);
  return measure_folder(folder);
}

void print_plan(const Plan& plan) {
  constexpr bool full = false;
  std::cout << plan_to_text(plan, full) << plan_hints(plan, full) << "\n";
}

struct Graded {
  PanelFacts facts;
  AdviceData advice;
};

/// Under the photo's name, the card beside it.
void write_relief_picture(const MeasureArguments& a, const Measurement& m) {
  ReliefMapOptions options;
  options.words = Wording::plain().in(a.units);
  options.title = "Relief: " + std::filesystem::path(m.reading.photo.name).filename().string();
  const CardDefinition card = card_for(*a.photo);
  const double scale = m.reading.setup.bar_length_mm / card.bar_nominal_mm;
  for (const RectangleMm& paper : card.paper)
    options.card_paper.push_back(
        {scale * paper.x0_mm, scale * paper.y0_mm, scale * paper.x1_mm, scale * paper.y1_mm});
  write_atomically(a.relief_picture_file, encode_for_name(relief_map(m.relief, m.reading.dents, options).bgr,
                                                          a.relief_picture_file));
}

/// Prints a reading and writes its pictures; `name` is the photo to draw on. Whether it is a refusal.
bool show(const MeasureArguments& a, const Graded& by, const std::string& name, Measurement& m) {
  grade(m.reading, by.facts, by.advice.severity);
  // the sizes last: they are what stays in sight
  if (a.plan && m.reading.status == Status::measured) print_plan(make_plan(m.reading, by.facts, by.advice));
  std::cout << reading_table(m.reading, {.budget = a.budget, .coins = &by.advice.coins});
  if (!a.picture_file.empty()) write_picture(a, name, m.reading, by.advice.coins);
  if (!a.relief_file.empty() && !m.relief.empty()) write_relief(a.relief_file, m.relief);
  if (!a.relief_picture_file.empty()) write_relief_picture(a, m);
  return m.reading.status == Status::refused;
}

/// All photos as one place.
int run_together(const MeasureArguments& a, const Graded& by) {
  const int threads = processors(a.folder.threads);
  std::vector<PhotoOfPlace> photos;
  for (std::size_t i = 0; i < a.photos.size(); ++i)
    photos.push_back({read_photo(a.photos[i], {}, threads), request_for(*a.photo, i, a.photos.size())});
  Measurement joint = measure_together(photos, {.threads = threads}).joint;
  const bool refused = show(a, by, joint.reading.photo.name, joint);
  if (!a.json_file.empty()) write_atomically(a.json_file, readings_to_json({joint.reading}));
  return refused ? exit_refused : exit_ok;
}

int run_photos(const MeasureArguments& a) {
  if (!a.folder.job_file.empty() || !a.folder.panel_pattern.empty())
    throw UsageError(
        "--job and --panel-pattern go with a folder of photos; single photos: measure with --json, then "
        "`ripplegauge job add`");
  const bool one_file_each =
      !a.picture_file.empty() || !a.relief_file.empty() || !a.relief_picture_file.empty();
  if (one_file_each && a.photos.size() > 1 && !a.together)
    throw UsageError("--picture, --relief and --relief-picture make one file from one photo; " +
                     std::to_string(a.photos.size()) + " photos were given");
  expect_large_pictures();
  const Graded by{panel_facts_of(*a.panel), advice_data_for(*a.panel, a.photo->profile_file)};
  if (a.together) return run_together(a, by);
  std::vector<Reading> readings;
  bool refused = false;
  for (std::size_t i = 0; i < a.photos.size(); ++i) {
    const std::string& name = a.photos[i];
    const MeasureRequest request = request_for(*a.photo, i, a.photos.size());
    const int threads = processors(a.folder.threads);
    Measurement m = measure(read_photo(name, {}, threads), request, {.threads = threads});
    refused |= show(a, by, name, m);
    readings.push_back(std::move(m.reading));
  }
  if (!a.json_file.empty()) write_atomically(a.json_file, readings_to_json(readings));
  return refused ? exit_refused : exit_ok;
}

int run_measure(const MeasureArguments& a) {
  return std::any_of(a.photos.begin(), a.photos.end(), is_folder) ? run_folder(a) : run_photos(a);
}

}  // namespace

void add_measure_command(CLI::App& app, ChosenCommand& chosen) {
  auto a = std::make_shared<MeasureArguments>();
  auto* command = app.add_subcommand("measure", "Measure the dents in a photo, or in a folder of photos");
  command
      ->add_option("PHOTO", a->photos, "Photo of striped reflection and card (JPEG, PNG, HEIC), or a folder")
      ->required();
  a->photo = add_photo_options(*command);
  command
      ->add_option("--json", a->json_file,
                   "Write the reading to this file; of several photos or a folder an array")
      ->type_name("FILE");
  command->add_option("--relief", a->relief_file, "Write the height map: .csv grid or .png 16 bit")
      ->type_name("FILE");
  command->add_option("--picture", a->picture_file, "Draw the spots onto the photo: .png or .jpg")
      ->type_name("FILE");
  command
      ->add_option("--relief-picture", a->relief_picture_file, "Draw the height map in colours: .png or .jpg")
      ->type_name("FILE");
  command->add_flag("--together", a->together,
                    "2 to 8 photos of one place, the card left where it is: one reading from all of them");
  command->add_flag("--plan", a->plan, "Say how to pull it, too; `ripplegauge plan` says more");
  add_folder_options(*command, a->folder);
  a->panel = add_panel_options(*command);
  command->add_flag("--budget", a->budget, "List the uncertainty budget term by term");
  add_unit_options(*command, a->units);
  command->footer(examples);
  command->callback([a, &chosen] { chosen = [a] { return run_measure(*a); }; });
}

}  // namespace ripplegauge::cli
