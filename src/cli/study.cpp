// `study`: how far readings repeat, and whether people agree.
#include <fmt/format.h>

#include <cstdio>

#include "command.hpp"
#include "output_filter.hpp"
#include "ripplegauge/files/atomic_write.hpp"
#include "ripplegauge/files/study_file.hpp"

namespace ripplegauge::cli {

namespace {

constexpr const char* examples = R"(What a table needs:
  One row for each reading, with the columns part, person, trial, value (or value_mm and the like).
  A column method (say "program" and "hand") makes one study of each and compares them.
  10 parts from small to large, 3 people, 2 or 3 trials each, in mixed order, are usual.

Examples:
  ripplegauge study depths.csv
  ripplegauge study by-hand.csv by-program.csv --json study.json
  ripplegauge study by-hand.csv door*_*_*.json --quantity diameter)";

struct StudyArguments {
  std::vector<std::string> files;
  std::string quantity = "depth", json;
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
  for (const std::string& line : lines) print("    - %s\n", line.c_str());
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

int run_study(const StudyArguments& arguments) {
  std::vector<StudyGroup> groups;
  std::vector<std::filesystem::path> readings;
  for (const std::string& file : arguments.files) {
    if (std::filesystem::path(file).extension() == ".json") {
      readings.push_back(file);
    } else {
      for (StudyGroup& group : read_study_file(file)) groups.push_back(std::move(group));
    }
  }
  if (!readings.empty())
    groups.push_back(study_from_readings(
        readings, arguments.quantity == "depth" ? StudyQuantity::depth_mm : StudyQuantity::diameter_mm));

  std::vector<NamedStudy> studies;
  studies.reserve(groups.size());
  for (const StudyGroup& group : groups)
    studies.push_back({group.name, group.unit, study_repeatability(group.values, arguments.options)});
  for (const NamedStudy& study : studies) print_study(study, arguments.options.confidence);
  for (std::size_t i = 1; i < studies.size(); ++i)
    print_comparison(studies[0], studies[i], arguments.options.confidence);
  if (!arguments.json.empty())
    write_atomically(arguments.json, studies_to_json(studies, arguments.options.confidence));
  return exit_ok;
}

}  // namespace

void add_study_command(CLI::App& app, ChosenCommand& chosen) {
  auto arguments = std::make_shared<StudyArguments>();
  auto* command = app.add_subcommand(
      "study", "How far readings can be trusted: repeatability and reproducibility from a table");
  command
      ->add_option("FILE", arguments->files,
                   "Tables (CSV), and saved readings (JSON), each named PART_PERSON_TRIAL.json")
      ->required();
  command->add_option("--quantity", arguments->quantity, "What is taken from saved readings")
      ->check(CLI::IsMember({"depth", "diameter"}))
      ->capture_default_str();
  command->add_option("--confidence", arguments->options.confidence, "Of the intervals, 0.5 to 1")
      ->capture_default_str();
  command->add_option("--json", arguments->json, "Write all figures to this file");
  command->footer(examples);
  command->callback([arguments, &chosen] { chosen = [arguments] { return run_study(*arguments); }; });
}

}  // namespace ripplegauge::cli
