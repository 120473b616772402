#include <fmt/format.h>

#include <cstdio>

#include "command.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/files/atomic_write.hpp"
#include "ripplegauge/files/progress_file.hpp"
#include "ripplegauge/files/training_log.hpp"
#include "ripplegauge/picture/chart.hpp"
#include "ripplegauge/picture/picture.hpp"

namespace ripplegauge::cli {

namespace {

constexpr const char* examples =
    R"(The log is written by ripplegauge compare BEFORE AFTER --log FILE.csv --who LABEL --exercise LABEL.
Labels are yours: a number or a bay will do, no name is needed.

Examples:
  ripplegauge progress practice.csv
  ripplegauge progress practice.csv --exercise "door edge" --chart door-edge.svg
  ripplegauge progress practice.csv --who "bay 2" --json bay2.json)";

struct ProgressArguments {
  std::string log, who, exercise, json;
  std::vector<std::string> charts;
};

std::string percent(const std::optional<double>& value) {
  return value ? fmt::format("{:.0f} %", *value) : "-";
}

std::string trend_text(const TraineeProgress& progress) {
  std::string text = to_string(progress.trend);
  if (progress.trend == TrendWord::too_few) text += " for a trend (3 are needed)";
  if (!progress.trend_percent_per_attempt) return text;
  const Quantity& trend = *progress.trend_percent_per_attempt;
  return text +
         fmt::format(" ({:+.1f} points an attempt, {:+.1f} to {:+.1f})", trend.value, trend.low, trend.high);
}

void print_progress(const TraineeProgress& progress) {
  std::printf("%s, %s\n", progress.exercise.c_str(), progress.who.c_str());
  std::printf("  attempts             %zu\n", progress.attempts.size());
  std::printf("  gone                 first %s, last %s, best %s, mean %s\n",
              percent(progress.first_percent_gone).c_str(), percent(progress.last_percent_gone).c_str(),
              percent(progress.best_percent_gone).c_str(), percent(progress.mean_percent_gone).c_str());
  std::printf("  highs made           %d, in %d of %zu attempts\n", progress.highs_made,
              progress.attempts_with_highs, progress.attempts.size());
  if (progress.median_minutes)
    std::printf("  time between shots   %.0f min (median)\n", *progress.median_minutes);
  else
    std::printf("  time between shots   not known: the photos hold no time\n");
  std::printf("  trend                %s\n\n", trend_text(progress).c_str());
}

void require_chart_name(const std::string& file) {
  if (!file.ends_with(".svg") && !file.ends_with(".pdf") && !file.ends_with(".png"))
    throw UsageError("--chart " + file + ": the name must end in .svg, .pdf or .png");
}

std::string chart_bytes(const Chart& chart, const std::string& file) {
  if (file.ends_with(".svg")) return chart_svg(chart);
  return file.ends_with(".pdf") ? chart_pdf(chart) : encode_png(chart_bgr(chart));
}

int run_progress(const ProgressArguments& arguments) {
  for (const std::string& chart : arguments.charts) require_chart_name(chart);
  std::vector<TraineeProgress> all = training_progress(read_training_log(arguments.log));
  std::erase_if(all, [&](const TraineeProgress& progress) {
    return (!arguments.who.empty() && progress.who != arguments.who) ||
           (!arguments.exercise.empty() && progress.exercise != arguments.exercise);
  });
  if (all.empty())
    throw UsageError(arguments.log +
                     (arguments.who.empty() && arguments.exercise.empty()
                          ? " has no attempts yet"
                          : " has no attempts with this --who and --exercise; labels must match exactly"));
  for (const TraineeProgress& progress : all) print_progress(progress);
  for (const std::string& file : arguments.charts)
    write_atomically(file, chart_bytes(progress_chart(all), file));
  if (!arguments.json.empty()) write_atomically(arguments.json, progress_to_json(all));
  return exit_ok;
}

}  // namespace

void add_progress_command(CLI::App& app, ChosenCommand& chosen) {
  auto arguments = std::make_shared<ProgressArguments>();
  auto* command =
      app.add_subcommand("progress", "What a training log adds up to, for each trainee and exercise");
  command->add_option("LOG", arguments->log, "Training log (CSV)")->required();
  command->add_option("--who", arguments->who, "Only this trainee");
  command->add_option("--exercise", arguments->exercise, "Only this exercise");
  command->add_option("--chart", arguments->charts, "Draw percent gone by attempt: FILE.svg, .pdf or .png");
  command->add_option("--json", arguments->json, "Write all figures to this file");
  command->footer(examples);
  command->callback([arguments, &chosen] { chosen = [arguments] { return run_progress(*arguments); }; });
}

}  // namespace ripplegauge::cli
