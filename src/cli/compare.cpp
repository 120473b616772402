// `compare`: before against after, for two shots, a series or a folder of pairs; pages, pictures, the
// training log.
#include <algorithm>
#include <cmath>
#include <cstdio>

#include "advice/next.hpp"
#include "app/clock.hpp"
#include "app/same_peel.hpp"
#include "command.hpp"
#include "compare/pairing.hpp"
#include "compare/words.hpp"
#include "file_names.hpp"
#include "files/atomic_write.hpp"
#include "files/compare_file.hpp"
#include "files/panel_photo.hpp"
#include "files/photo_folder.hpp"
#include "files/relief_file.hpp"
#include "files/training_log.hpp"
#include "option_hints.hpp"
#include "output_filter.hpp"
#include "panel_options.hpp"
#include "photo/file_hash.hpp"
#include "photo_options.hpp"
#include "picture/picture.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/json/reading_file.hpp"
#include "ripplegauge/photo/photo.hpp"
#include "terminal.hpp"
#include "wording_options.hpp"
#include "words/text.hpp"

namespace ripplegauge::cli {

namespace {

constexpr const char* examples =
    R"(Leave the card where it is between the photos: then spots are matched by their place. Photos may be
taken from anywhere, with the board anywhere. Three or more files are a series: each one is compared
with the first.
A saved reading brings its relief if it stands beside it: door.json with door.relief.csv.

Examples:
  ripplegauge compare before.jpg after.jpg --board-pitch 16
  ripplegauge compare before.json after.json --html page.html --workshop "Corner Bay" --vehicle "left door"
  ripplegauge compare 0.json 1.json 2.json 3.json --pictures pulls --json pulls.json
  ripplegauge compare before.json after.json --log practice.csv --who "bay 2" --exercise "door edge"
  ripplegauge compare --folder monday --profile workshop.json --pdf monday.pdf)";

struct CompareArguments {
  std::vector<std::string> files, reliefs;
  std::string folder;

  bool wants_page() const { return !html.empty() || !pdf.empty(); }
  std::string before_word, after_word;
  double most_minutes = PairingOptions{}.most_minutes;
  bool card_moved = false, card_still = false;
  std::optional<double> visible_limit_mm;
  std::string json, pictures, html, pdf, workshop, vehicle, date;
  std::string log, who, exercise;
  std::shared_ptr<PhotoArguments> photo;
  std::shared_ptr<PanelArguments> panel;
  WordingArguments wording;
  Wording words = Wording::plain();
  bool no_next = false;
};

/// A shot as it comes from the disk.
struct LoadedShot {
  SeriesReading shot;
  std::filesystem::path photo;  ///< empty when it is not there
};

/// Thrown where a photo was refused; carries what to tell the user.
struct RefusedPhoto {
  std::string message;
};

/// Standard input ("-") can only be a reading.
bool is_reading(const std::filesystem::path& file) { return file.extension() == ".json" || file == "-"; }

LoadedShot load_reading(const std::filesystem::path& file, const std::string& relief) {
  LoadedShot loaded;
  std::vector<Reading> readings = read_readings(file);
  if (readings.size() != 1)
    throw FileError(file.string(),
                    "holds " + std::to_string(readings.size()) +
                        " readings; a comparison needs one a file (measure the photos one by one)");
  loaded.shot.reading = std::move(readings.front());
  std::filesystem::path beside = file;
  beside.replace_extension(".relief.csv");
  if (!relief.empty())
    loaded.shot.relief = read_relief(relief);
  else if (std::filesystem::exists(beside))
    loaded.shot.relief = read_relief(beside);
  loaded.photo = photo_of(loaded.shot.reading, file);
  return loaded;
}

LoadedShot load_photo(const std::filesystem::path& file, const MeasureRequest& request) {
  Measurement measurement = measure(read_photo(file), request, {.threads = processors()});
  return {{std::move(measurement.reading), std::move(measurement.relief)}, file};
}

std::string refused_words(const std::string& file, const std::optional<Refusal>& refusal,
                          const Wording& words) {
  if (!refusal) return words("compare.refused_no_reason", {{"file", file}});
  return words("compare.refused", {{"file", file},
                                   {"message", words.finding(refusal->code, refusal->message)},
                                   {"remedy", remedy_with_options(*refusal)}});
}

std::vector<LoadedShot> load(const std::vector<std::string>& files, const CompareArguments& arguments) {
  if (!arguments.reliefs.empty() && arguments.reliefs.size() != files.size())
    throw UsageError("--relief is given " + std::to_string(arguments.reliefs.size()) + " times for " +
                     std::to_string(files.size()) + " readings; give one for each, in their order");
  std::vector<LoadedShot> shots;
  for (std::size_t i = 0; i < files.size(); ++i) {
    shots.push_back(is_reading(files[i])
                        ? load_reading(files[i], arguments.reliefs.empty() ? "" : arguments.reliefs[i])
                        : load_photo(files[i], request_for(*arguments.photo, i, files.size())));
    const Reading& reading = shots.back().shot.reading;
    if (reading.status == Status::refused)
      throw RefusedPhoto{refused_words(files[i], reading.refusal, arguments.words)};
  }
  return shots;
}

/// The log knows a pair of photos by their bytes.
void take_fingerprints(CompareInput& input, const std::vector<std::filesystem::path>& photos) {
  for (std::size_t i = 0; i < photos.size(); ++i) {
    PhotoInfo& photo = input.shots[i].reading.photo;
    if (photo.sha256.empty() && !photos[i].empty()) photo.sha256 = sha256_of_file(photos[i]);
  }
}

CompareInput compared(const std::vector<std::string>& files, const CompareArguments& arguments,
                      bool with_views) {
  CompareOptions options;
  if (arguments.card_moved) options.alignment.placement = CardPlacement::moved;
  if (arguments.card_still) options.alignment.placement = CardPlacement::same;
  options.visible_limit_mm = arguments.visible_limit_mm;
  options.words = arguments.words;
  CompareInput input;
  input.words = arguments.words;
  std::vector<std::filesystem::path> photos;
  for (LoadedShot& loaded : load(files, arguments)) {
    photos.push_back(loaded.photo);
    input.shots.push_back(std::move(loaded.shot));
  }
  if (!arguments.log.empty()) take_fingerprints(input, photos);
  const auto read_photo_of = [&](const Reading& reading) {
    const auto shot = std::find_if(input.shots.begin(), input.shots.end(),
                                   [&](const SeriesReading& one) { return &one.reading == &reading; });
    return ReadPhoto{reading, photos.at(static_cast<std::size_t>(shot - input.shots.begin()))};
  };
  options.same_peel = [&](const Reading& before, const Reading& after) {
    return same_peel(read_photo_of(before), read_photo_of(after), card_for(*arguments.photo), processors());
  };
  input.series = compare_series(input.shots, options);
  const bool any_photo = std::any_of(photos.begin(), photos.end(), [](const auto& p) { return !p.empty(); });
  if (with_views && any_photo) input.views_bgr = squared_views(photos, input, card_for(*arguments.photo));
  return input;
}

/// Breaks running text at 78 columns; continuation lines are indented.
void print_wrapped(const std::string& text, const std::string& first, const std::string& rest) {
  std::cout << wrap(text, first, rest);
}

void print_comparison(const CompareInput& input) {
  const Comparison& comparison = input.comparison();
  const Reading &before = input.first().reading, &after = input.last().reading;
  const Wording& words = input.words;
  print_wrapped(summary_words(comparison, words), "", "");
  if (comparison.percent_gone && comparison.spots.size() > 1)
    print_wrapped(
        words(std::isnan(comparison.percent_gone->low) ? "compare.overall_that_shows" : "compare.overall",
              {{"percent", percent_words(*comparison.percent_gone, words)}}),
        "", "");
  if (comparison.place.same != SamePlace::no)
    for (const SpotChange& change : comparison.spots)
      print_wrapped(spot_words(change, before, after, words), "  ", "    ");
  for (const NewMark& mark : comparison.new_marks)
    print_wrapped(words("compare.new_mark", {{"mark", with_full_stop(new_mark_words(mark, after, words))}}),
                  "  ", "    ");
  if (comparison.place.same != SamePlace::no)
    print_wrapped(words("compare.sure", {{"text", with_full_stop(comparison.place.reason)}}), "", "  ");
  for (const std::string& note : comparison.notes)
    print_wrapped(words("compare.note", {{"note", with_full_stop(note)}}), "", "  ");
}

void print_series(const CompareInput& input) {
  const Wording& words = input.words;
  for (const SpotTrack& track : input.series.tracks) {
    const auto row = [](const std::string& photo, const std::string& height, const std::string& moved,
                        const std::string& gone) {
      std::cout << "  " << padded_right(photo, 7) << padded_right(height, 27) << padded_right(moved, 27)
                << gone << "\n";
    };
    std::cout << words("compare.series", {{"number", track.spot + 1}}) << "\n";
    row(words("compare.series.photo"), words("compare.series.height"), words("compare.series.moved"),
        words("compare.series.gone"));
    for (std::size_t i = 0; i < track.points.size(); ++i) {
      const TrackPoint& point = track.points[i];
      const auto length = [&](const std::optional<Quantity>& q) { return q ? length_words(*q, words) : "-"; };
      row(std::to_string(i + 1), length(point.height_mm), i == 0 ? "" : length(point.moved_mm),
          i == 0 ? "" : gone_words(point.outcome, point.percent_gone, words));
    }
  }
}

void write_page(const CompareArguments& arguments, const ReportPage& page) {
  if (!arguments.html.empty()) write_atomically(arguments.html, report_html(page));
  if (!arguments.pdf.empty()) write_atomically(arguments.pdf, report_pdf(page));
}

void write_pictures(const CompareInput& input, const std::filesystem::path& folder) {
  std::error_code error;
  std::filesystem::create_directories(folder, error);
  if (error) throw FileError(folder.string(), "the folder cannot be made: " + error.message());
  for (const PictureGroup& group : comparison_pictures(input))
    write_atomically(folder / (group.name + ".png"), encode_png(group.whole()), Links::replaced);
}

ReportSettings settings_of(const CompareArguments& arguments) {
  return {arguments.workshop, arguments.vehicle, arguments.date.empty() ? today() : arguments.date};
}

void write_log(const CompareArguments& arguments, const CompareInput& input) {
  if (arguments.log.empty()) return;
  const auto line = append_to_training_log(
      arguments.log, training_attempt(input, arguments.who, arguments.exercise, now_utc()));
  if (line)
    std::fprintf(stderr, "ripplegauge: this pair is in %s already, in line %d; nothing was added\n",
                 arguments.log.c_str(), *line);
}

/// What to do after the pull; where the pair tells nothing, that was said already.
std::string next_words(const CompareInput& input, const CompareArguments& arguments) {
  const PlaceEvidence& place = input.comparison().place;
  if (place.same == SamePlace::no) return card_hint(place, arguments.words);
  if (arguments.words.language() != "en")
    return "\n" + wrap(arguments.words("compare.advice_elsewhere"), "", "  ") +
           card_hint(place, arguments.words);
  const NextStep next = next_step(input.first().reading, input.last().reading, input.comparison(),
                                  panel_facts_of(*arguments.panel),
                                  advice_data_for(*arguments.panel, arguments.photo->profile_file));
  return "\n" + next_to_text(next) + card_hint(place);
}

int run_one(const CompareArguments& arguments) {
  const CompareInput input =
      compared(arguments.files, arguments, !arguments.pictures.empty() || arguments.wants_page());
  print_comparison(input);
  if (input.shots.size() > 2) print_series(input);
  if (!arguments.no_next) std::cout << next_words(input, arguments);
  if (!arguments.json.empty()) write_atomically(arguments.json, comparison_to_json(input));
  if (!arguments.pictures.empty()) write_pictures(input, arguments.pictures);
  if (arguments.wants_page()) write_page(arguments, comparison_page(input, settings_of(arguments)));
  write_log(arguments, input);
  return exit_ok;
}

std::string date_taken(const std::filesystem::path& file) {
  if (!is_reading(file)) return read_photo(file).date_taken;
  const std::vector<Reading> readings = read_readings(file);
  return readings.front().photo.date_taken;
}

/// The shots of the folder: saved readings where there are any, else photos.
std::vector<std::filesystem::path> shots_in(const std::filesystem::path& folder) {
  std::error_code error;
  std::vector<std::filesystem::path> readings, photos;
  std::filesystem::directory_iterator entries(folder, error);
  if (error) throw FileError(folder.string(), "the folder cannot be read: " + error.message());
  for (const auto& entry : entries) {
    if (!entry.is_regular_file()) continue;
    if (is_reading(entry.path()))
      readings.push_back(entry.path());
    else if (has_photo_ending(entry.path()))
      photos.push_back(entry.path());
  }
  std::vector<std::filesystem::path>& shots = readings.empty() ? photos : readings;
  std::sort(shots.begin(), shots.end());
  if (shots.size() < 2) throw FileError(folder.string(), "holds fewer than two photos or saved readings");
  return shots;
}

Pairing pairing_of(const std::vector<std::filesystem::path>& files, const CompareArguments& arguments) {
  PairingOptions options;
  if (!arguments.before_word.empty()) options.before_words = {arguments.before_word};
  if (!arguments.after_word.empty()) options.after_words = {arguments.after_word};
  options.most_minutes = arguments.most_minutes;
  std::vector<Shot> shots;
  shots.reserve(files.size());
  for (const auto& file : files) shots.push_back({file.filename().string(), date_taken(file)});
  return pair_shots(shots, options, arguments.words);
}

ReportPage empty_sheet(const CompareArguments& arguments) {
  ReportPage sheet;
  const Wording& words = arguments.words;
  sheet.words = words;
  sheet.title = arguments.vehicle.empty() ? words("compare.title_sheet")
                                          : words("compare.title_of", {{"vehicle", arguments.vehicle}});
  sheet.workshop = arguments.workshop;
  sheet.date = settings_of(arguments).date;
  sheet.footer = words("compare.page.footer");
  return sheet;
}

void add_left_over(const std::vector<std::string>& lines, ReportPage& sheet) {
  if (lines.empty()) return;
  sheet.blocks.emplace_back(ReportHeading{sheet.words("compare.page.left_over")});
  for (const std::string& line : lines) sheet.blocks.emplace_back(ReportText{line, false});
}

int run_folder(const CompareArguments& arguments) {
  const std::vector<std::filesystem::path> files = shots_in(arguments.folder);
  const Pairing pairing = pairing_of(files, arguments);
  ReportPage sheet = empty_sheet(arguments);
  FolderComparisons found;
  bool refused = false;
  for (const ShotGroup& group : pairing.groups) {
    std::vector<std::string> names;
    for (const std::size_t shot : group.shots) names.push_back(files[shot].string());
    std::cout << arguments.words("compare.paired", {{"name", one_line(group.name)}, {"reason", group.reason}})
              << "\n";
    try {
      const CompareInput input = compared(names, arguments, arguments.wants_page());
      print_comparison(input);
      add_to_contact_sheet(sheet, group.name, input);
      found.comparisons.push_back({group.name, comparison_to_json(input)});
      write_log(arguments, input);
    } catch (const RefusedPhoto& photo) {
      refused = true;
      found.refused.push_back({group.name, photo.message});
      print_wrapped(photo.message, "", "  ");
      sheet.blocks.emplace_back(ReportHeading{group.name});
      sheet.blocks.emplace_back(ReportNote{photo.message});
    }
    std::cout << "\n";
  }
  for (const std::string& line : pairing.left_over)
    print_wrapped(arguments.words("compare.left_over", {{"text", line}}), "", "  ");
  add_left_over(pairing.left_over, sheet);
  found.left_over = pairing.left_over;
  if (!arguments.json.empty()) write_atomically(arguments.json, folder_comparisons_to_json(found));
  if (arguments.wants_page()) write_page(arguments, sheet);
  return refused ? exit_refused : exit_ok;
}

void check(const CompareArguments& arguments) {
  require_ending("--html", arguments.html, {".html", ".htm"});
  require_ending("--pdf", arguments.pdf, {".pdf"});
  require_ending("--json", arguments.json, {".json"});
  if (arguments.folder.empty() && arguments.files.size() < 2)
    throw UsageError("compare needs two or more photos or saved readings, or --folder; see --help");
  if (!arguments.folder.empty() && !arguments.files.empty())
    throw UsageError("give either files or --folder, not both");
  if (!arguments.folder.empty() && !arguments.pictures.empty())
    throw UsageError("--pictures is for one comparison; of a folder --html and --pdf show all on one page");
  if (arguments.log.empty() != arguments.who.empty() || arguments.log.empty() != arguments.exercise.empty())
    throw UsageError("--log, --who and --exercise belong together");
  if (arguments.log.empty()) return;
  check_training_label("--who", arguments.who);
  check_training_label("--exercise", arguments.exercise);
}

int run_compare(CompareArguments& arguments) {
  check(arguments);
  arguments.words = wording_from(arguments.wording, arguments.photo->profile_file);
  try {
    return arguments.folder.empty() ? run_one(arguments) : run_folder(arguments);
  } catch (const RefusedPhoto& photo) {
    print_wrapped(photo.message, "", "  ");
    return exit_refused;
  }
}

}  // namespace

void add_compare_command(CLI::App& app, ChosenCommand& chosen) {
  auto a = std::make_shared<CompareArguments>();
  auto* command = app.add_subcommand("compare", "Before and after a repair: what became of each spot");
  command->add_option("FILE", a->files, "Before, after, and more: photos, or readings saved as JSON");
  command
      ->add_option("--relief", a->reliefs, "Relief (CSV) of a saved reading; once for each, in their order")
      ->allow_extra_args(false);
  command->add_flag("--card-moved", a->card_moved, "The card was moved: match the spots by their pattern");
  command->add_flag("--card-still", a->card_still, "The card was not moved: match by place whatever is found")
      ->excludes("--card-moved");
  command->add_option("--visible-limit", a->visible_limit_mm, "Relief smaller than this does not show, mm")
      ->check(CLI::PositiveNumber);
  a->photo = add_photo_options(*command);

  a->panel = add_panel_options(*command);
  command->add_flag("--no-next", a->no_next, "Only compare, no advice on what to do next");

  const std::string output = "What comes out", training = "Training log", folder = "A folder of shots";
  command->add_option("--json", a->json, "Write all figures to this file")->group(output);
  command->add_option("--pictures", a->pictures, "Write PNG pictures into this folder")->group(output);
  command->add_option("--html", a->html, "Write a page for the customer; of a folder all pairs on one page")
      ->type_name("FILE")
      ->group(output);
  command->add_option("--pdf", a->pdf, "Write the same page as PDF")->type_name("FILE")->group(output);
  command->add_option("--workshop", a->workshop, "The workshop's own name on the page")->group(output);
  command->add_option("--vehicle", a->vehicle, "What the page is about, in your words")->group(output);
  add_wording_options(*command, a->wording, output);
  command->add_option("--date", a->date, "Date on the page; today if not given")->group(output);
  command->add_option("--log", a->log, "Add a row to this training log (CSV)")->group(training);
  command->add_option("--who", a->who, "Label of the trainee; no name is needed")->group(training);
  command->add_option("--exercise", a->exercise, "Label of the exercise")->group(training);
  command->add_option("--folder", a->folder, "Pair the shots of this folder by file name or time")
      ->group(folder);
  command->add_option("--before-word", a->before_word, "Word in the names of shots before (\"before\")")
      ->group(folder);
  command->add_option("--after-word", a->after_word, "Word in the names of shots after (\"after\")")
      ->group(folder);
  command->add_option("--most-minutes", a->most_minutes, "Longest time between shots that are paired by time")
      ->capture_default_str()
      ->group(folder);
  add_unit_options(*command, a->wording.units);
  command->footer(examples);
  command->callback([a, &chosen] { chosen = [a] { return run_compare(*a); }; });
}

}  // namespace ripplegauge::cli
