// `study`: how far readings repeat, and whether people agree.
#include <fmt/format.h>

#include <cstdio>
#include <filesystem>
#include <iostream>
#include <map>
#include <memory>
#include <optional>

#include "app/clock.hpp"
#include "app/folder_run.hpp"
#include "command.hpp"
#include "files/atomic_write.hpp"
#include "files/study_file.hpp"
#include "interrupt.hpp"
#include "output_filter.hpp"
#include "photo_options.hpp"
#include "progress_bar.hpp"
#include "ripplegauge/core/errors.hpp"
#include "terminal.hpp"
#include "wording_options.hpp"

namespace ripplegauge::cli {

namespace {

constexpr const char* examples = R"(What a table needs:
  One row for each reading, with the columns part, person, trial, value (or value_mm and the like).
  A column method (say "program" and "hand") makes one study of each and compares them.
  10 parts from small to large, 3 people, 2 or 3 trials each, in mixed order, are usual.
A folder of photos, PERSON being a person or a set-up (card and board put there anew):
  PART/PERSON_TRIAL.jpg       a photo is a reading
  PART/PERSON_TRIAL/*.jpg     2 to 8 photos of one place, the card left where it is, are one
Of several spots in a reading each is a part by itself: PART#1, PART#2 ..., also in --known.

Examples:
  ripplegauge study depths.csv
  ripplegauge study by-hand.csv by-program.csv --json study.json
  ripplegauge study by-hand.csv door*_*_*.json --quantity diameter
  ripplegauge study scrap/ --profile workshop.json --known gauge.csv --tolerance 0.1 --pdf study.pdf)";

struct StudyArguments {
  std::vector<std::string> files;
  std::string quantity = "depth", json, known, values, html, pdf;
  std::optional<double> tolerance;
  int threads = 0;
  std::shared_ptr<PhotoArguments> photo;
  WordingArguments wording;
  StudyOptions options;
};

std::string number(double value) { return fmt::format("{:.3g}", value); }

std::string with_unit(double value, const std::string& unit) {
  return number(value) + (unit.empty() ? "" : " " + unit);
}

void print_term(const char* name, const std::optional<Quantity>& deviation,
                const std::optional<Quantity>& percent, const std::string& unit) {
  if (!deviation) return;
  print("  %-24s %-12s %-18s", name, with_unit(deviation->value, unit).c_str(),
        (number(deviation->low) + " to " + number(deviation->high)).c_str());
  if (percent) print(" %5.1f %%  (%.0f to %.0f %%)", percent->value, percent->low, percent->high);
  std::cout << "\n";
}

const char* meaning(StudyVerdict verdict) {
  switch (verdict) {
    case StudyVerdict::unknown:
      return "not known";
    case StudyVerdict::good:
      return "under 10 %: good";
    case StudyVerdict::conditional:
      return "10 to 30 %: good enough for some uses, say which";
    case StudyVerdict::poor:
      return "over 30 %: not fit for use as it is";
  }
  return "not known";
}

void print_list(const char* heading, const std::vector<std::string>& lines) {
  if (lines.empty()) return;
  print("  %s\n", heading);
  for (const std::string& line : lines) std::cout << wrap(line, "    - ", "      ");
}

void print_study(const NamedStudy& study, double confidence) {
  const StudyResult& result = study.result;
  const auto counted = [](std::size_t count, const char* one, const char* many) {
    return std::to_string(count) + " " + (count == 1 ? one : many);
  };
  print("%s: %s, %s, %s\n", one_line(study.name).c_str(),
        counted(result.parts.size(), "part", "parts").c_str(),
        counted(result.people.size(), "person", "people").c_str(),
        result.trials > 0
            ? counted(static_cast<std::size_t>(result.trials), "trial each", "trials each").c_str()
            : "trials differ");
  if (result.repeatability) {
    print("  %-24s %-12s %-18s %s\n", "", "std. dev.", (number(100 * confidence) + " % interval").c_str(),
          result.repeatability_percent ? "share of total" : "");
    print_term("repeatability", result.repeatability, result.repeatability_percent, study.unit);
    print_term("reproducibility", result.reproducibility, result.reproducibility_percent, study.unit);
    print_term("measurement (both)", result.measurement, result.measurement_percent, study.unit);
    print_term("from part to part", result.part_variation, result.part_percent, study.unit);
    print_term("total", result.total, std::nullopt, study.unit);
  }
  if (result.measurement_percent) {
    print("  measurement share (%%GRR) %.1f %%: %s\n", result.measurement_percent->value,
          meaning(result.verdict));
    print("  distinct categories: %d (5 or more are wanted)\n", *result.distinct_categories);
  }
  print_list("spots:", study.notes);
  print_list("missing:", result.missing);
  print_list("remarks:", result.remarks);
  std::cout << "\n";
}

/// Who repeats more closely, and whether the study is large enough to say so.
void print_comparison(const NamedStudy& first, const NamedStudy& other, double confidence) {
  const auto ratio = repeatability_ratio(first.result, other.result, confidence);
  if (!ratio || first.unit != other.unit) return;
  const bool first_is_better = ratio->value >= 1;
  const Quantity times =
      first_is_better ? *ratio : Quantity{1 / ratio->value, 1 / ratio->high, 1 / ratio->low};
  const NamedStudy& better = first_is_better ? first : other;
  const NamedStudy& worse = first_is_better ? other : first;
  if (times.low <= 1) {
    print("\"%s\" and \"%s\" repeat equally well, as far as these studies tell.\n", first.name.c_str(),
          other.name.c_str());
    return;
  }
  print("\"%s\" repeats %s times more closely than \"%s\" (%s to %s times).\n", better.name.c_str(),
        number(times.value).c_str(), worse.name.c_str(), number(times.low).c_str(),
        number(times.high).c_str());
}

StudyQuantity quantity_of(const StudyArguments& arguments) {
  if (arguments.quantity == "diameter") return StudyQuantity::diameter_mm;
  return arguments.quantity == "radius" ? StudyQuantity::radius_mm : StudyQuantity::depth_mm;
}

/// "dent1/anna_2" of a photo by itself and of those in a folder of that name.
std::string trial_of(const std::string& photo) {
  const std::filesystem::path name(photo);
  const bool in_set = std::distance(name.begin(), name.end()) > 2;
  return in_set ? name.parent_path().generic_string() : (name.parent_path() / name.stem()).generic_string();
}

/// Readings of a folder of photos, as they are measured.
class StudyWatcher : public FolderRunWatcher {
 public:
  StudyWatcher(StudyQuantity quantity, const std::string& folder, const Interrupt& interrupt)
      : quantity_(quantity), folder_(folder), interrupt_(interrupt) {}

  void begins(std::size_t steps) override { progress_.emplace(steps); }
  void measured(const FolderOutcome& photo, const Reading& reading, const AddedReading&) override {
    const std::string trial = trial_of(photo.name);
    std::string line = trial + ": ";
    if (!photo.together.empty()) line += std::to_string(photo.together.size() + 1) + " photos, ";
    const std::vector<StudyValue> values = study_of("", {{{}, reading}}, quantity_).values;
    for (const StudyValue& value : values)
      line += (&value == &values.front() ? "" : ", ") + with_unit(value.value, "mm") + " (" +
              number(value.stated->low) + " to " + number(value.stated->high) + ")";
    if (values.empty())
      line += reading.refusal ? "not measured: " + reading.refusal->message : "no such figure";
    progress_->step(line, values.empty());
    auto labels = study_labels(trial);
    if (!labels)
      throw FileError(folder_ + "/" + photo.name,
                      "its name must be PART/PERSON_TRIAL, as in dent1/anna_2.jpg or dent1/anna_2/*.jpg");
    if (!values.empty()) readings.push_back({std::move(*labels), reading});
  }
  bool stop() override { return interrupt_.asked(); }
  void end() { progress_.reset(); }

  std::vector<LabelledReading> readings;

 private:
  const StudyQuantity quantity_;
  const std::string folder_;
  const Interrupt& interrupt_;
  std::optional<ProgressBar> progress_;
};

StudyGroup study_from_photos(const StudyArguments& arguments, const std::string& folder) {
  FolderRunOptions options;
  options.folder = folder;
  options.threads = processors(arguments.threads);
  options.said = *arguments.photo;
  options.values_file = arguments.values;
  options.data_folder = data_dir();
  options.rules = default_severity_rules();
  options.program = program_name();
  options.sets = true;
  options.set_gap_s = 0;  // which photos are one reading is said by their folders
  const Interrupt interrupt;
  StudyWatcher watcher(quantity_of(arguments), folder, interrupt);
  const FolderSummary summary = run_folder(options, watcher);
  watcher.end();
  if (interrupt.asked()) interrupt.pass_on();
  for (const std::string& remark : summary.remarks) std::cout << wrap(remark, "", "  ");
  std::cout << "\n";
  return study_of("photos", watcher.readings, quantity_of(arguments));
}

std::vector<StudyGroup> groups_of(const StudyArguments& arguments) {
  std::vector<StudyGroup> groups;
  std::vector<std::filesystem::path> readings;
  for (const std::string& file : arguments.files) {
    std::error_code ignored;
    if (std::filesystem::is_directory(file, ignored)) {
      groups.push_back(study_from_photos(arguments, file));
    } else if (std::filesystem::path(file).extension() == ".json") {
      readings.push_back(file);
    } else {
      for (StudyGroup& group : read_study_file(file)) groups.push_back(std::move(group));
    }
  }
  if (!readings.empty()) groups.push_back(study_from_readings(readings, quantity_of(arguments)));
  return groups;
}

void print_known(const NamedStudy& study) {
  for (const PartBias& part : study.known.parts) {
    print("  %-24s known %s, %d readings off by %s", one_line(part.part).c_str(),
          with_unit(part.known.value, study.unit).c_str(), part.readings,
          with_unit(part.bias, study.unit).c_str());
    if (part.interval)
      print(" (%s to %s)", number(part.interval->low).c_str(), number(part.interval->high).c_str());
    std::cout << "\n";
  }
  for (const std::string& line : study_sentences(study)) std::cout << wrap(line, "  ", "  ");
  if (!study.known.parts.empty() || study.scatter_over_stated) std::cout << "\n";
}

void write_files(const StudyArguments& arguments, const std::vector<NamedStudy>& studies) {
  const double confidence = arguments.options.confidence;
  if (!arguments.json.empty()) write_atomically(arguments.json, studies_to_json(studies, confidence));
  ReportPage page = study_page(studies, confidence, arguments.quantity, today());
  page.words = english_on_paper(arguments.wording, arguments.photo->profile_file);
  if (!arguments.html.empty()) write_atomically(arguments.html, report_html(page));
  if (!arguments.pdf.empty()) write_atomically(arguments.pdf, report_pdf(page));
}

int run_study(const StudyArguments& arguments) {
  StudyOptions options = arguments.options;
  options.tolerance = arguments.tolerance;
  options.validate();
  const auto known = arguments.known.empty() ? std::map<std::string, KnownValue>{}
                                             : read_known_values(arguments.known, quantity_of(arguments));
  std::vector<NamedStudy> studies;
  for (StudyGroup& group : groups_of(arguments)) {
    NamedStudy study{group.name, group.unit, study_repeatability(group.values, options)};
    study.known = compare_with_known(group.values, known, options.confidence);
    study.scatter_over_stated = scatter_over_stated(group.values, options.confidence);
    study.values = std::move(group.values);
    study.notes = std::move(group.notes);
    studies.push_back(std::move(study));
  }
  for (const NamedStudy& study : studies) {
    print_study(study, options.confidence);
    print_known(study);
  }
  for (std::size_t i = 1; i < studies.size(); ++i)
    print_comparison(studies[0], studies[i], options.confidence);
  write_files(arguments, studies);
  return exit_ok;
}

}  // namespace

void add_study_command(CLI::App& app, ChosenCommand& chosen) {
  auto arguments = std::make_shared<StudyArguments>();
  auto* command = app.add_subcommand(
      "study",
      "How far readings can be trusted: repeatability, reproducibility, bias; from tables or photos");
  command
      ->add_option(
          "FILE", arguments->files,
          "Tables (CSV), saved readings (JSON), each named PART_PERSON_TRIAL.json, and folders of photos")
      ->required();
  command
      ->add_option("--quantity", arguments->quantity,
                   "What is taken from readings; radius: the smallest one of bend")
      ->check(CLI::IsMember({"depth", "diameter", "radius"}))
      ->capture_default_str();
  command->add_option("--confidence", arguments->options.confidence, "Of the intervals, 0.5 to 1")
      ->capture_default_str();
  command
      ->add_option(
          "--known", arguments->known,
          "Table (CSV) of what was measured by something better: columns part, depth_mm, diameter_mm, "
          "radius_mm, each with half of its 95 % interval in depth_uncertainty_mm and so on")
      ->type_name("FILE");
  command
      ->add_option("--tolerance", arguments->tolerance,
                   "From the least to the most that is allowed, in the unit of the values")
      ->type_name("WIDTH");
  command->add_option("--html", arguments->html, "Write a page with a chart")->type_name("FILE");
  command->add_option("--pdf", arguments->pdf, "The same as PDF")->type_name("FILE");
  add_paper_option(*command, arguments->wording);
  command->add_option("--json", arguments->json, "Write all figures to this file");
  arguments->photo = add_photo_options(*command);
  command
      ->add_option("--values", arguments->values,
                   "Table (CSV) of what differs from photo to photo, as `measure` takes it for a folder")
      ->type_name("FILE");
  command->add_option("--threads", arguments->threads, "Readings made at once; else one for each processor")
      ->check(CLI::Range(1, 256))
      ->type_name("N");
  command->footer(examples);
  command->callback([arguments, &chosen] { chosen = [arguments] { return run_study(*arguments); }; });
}

}  // namespace ripplegauge::cli
