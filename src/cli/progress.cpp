// `progress`: what a training log says of each trainee and exercise.
#include <fmt/format.h>

#include <algorithm>
#include <charconv>
#include <cstdio>
#include <map>

#include "app/clock.hpp"
#include "command.hpp"
#include "file_names.hpp"
#include "files/atomic_write.hpp"
#include "files/practice_file.hpp"
#include "files/progress_file.hpp"
#include "files/training_log.hpp"
#include "output_filter.hpp"
#include "picture/chart.hpp"
#include "picture/picture.hpp"
#include "ripplegauge/core/errors.hpp"
#include "terminal.hpp"
#include "wording_options.hpp"
#include "words/text.hpp"

namespace ripplegauge::cli {

namespace {

constexpr const char* examples =
    R"(The log is written by ripplegauge compare BEFORE AFTER --log FILE.csv --who LABEL --exercise LABEL.
Labels are yours: a number or a bay will do, no name is needed.

Examples:
  ripplegauge progress practice.csv
  ripplegauge progress practice.csv --exercise "door edge" --chart door-edge.svg
  ripplegauge progress practice.csv --who "bay 2" --json bay2.json
  ripplegauge progress practice.csv --target "door edge=90" --pdf to-hand-out.pdf)";

struct ProgressArguments {
  std::string log, who, exercise, json, html, pdf, workshop, rules;
  std::vector<std::string> charts, targets;
  WordingArguments wording;
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

std::string share_text(const Share& share) {
  return std::to_string(share.count) + " of " + std::to_string(share.of);
}

std::string past_flat_text(const TraineeProgress& progress) {
  std::string text = share_text(progress.past_flat) + " attempts";
  if (progress.past_flat.count == 0) return text;
  text += "; first half " + share_text(progress.past_flat_early) + ", second half " +
          share_text(progress.past_flat_late);
  if (!progress.largest_overshoot_mm) return text;
  return text + fmt::format("; by {:.2f} mm at most", *progress.largest_overshoot_mm);
}

void print_progress(const ProgressView& view) {
  const TraineeProgress& progress = view.progress;
  print("%s\n", one_line(progress.exercise + ", " + progress.who).c_str());
  print("  attempts             %zu\n", progress.attempts.size());
  print("  pulled past flat     %s\n", past_flat_text(progress).c_str());
  print("  gone, of the others  first %s, last %s, best %s, mean %s\n",
        percent(progress.first_percent_gone).c_str(), percent(progress.last_percent_gone).c_str(),
        percent(progress.best_percent_gone).c_str(), percent(progress.mean_percent_gone).c_str());
  if (progress.not_proven.count > 0)
    print("  place not proven     in %s of these: gone only if their photos show one place\n",
          share_text(progress.not_proven).c_str());
  print("  highs made           %d, in %d of %zu attempts\n", progress.highs_made,
        progress.attempts_with_highs, progress.attempts.size());
  if (progress.median_minutes)
    print("  time between shots   %.0f min (median)\n", *progress.median_minutes);
  else
    std::cout << "  time between shots   not known: the photos hold no time\n";
  print("  trend                %s\n", trend_text(progress).c_str());
  if (view.target_percent) print("  target               %.0f %%\n", *view.target_percent);
  for (const PracticeAdvice& one : view.advice)
    print("%s", wrap("Next: " + one.says + " Reason: " + one.because + ".", "  ", "    ").c_str());
  std::cout << "\n";
}

/// Padded by the cells that a terminal shows, not by bytes.
std::string cell(const std::string& text, int width) { return padded_right(text, width) + " "; }

void print_overview(const std::vector<ProgressView>& all) {
  print("%s\n", (cell("exercise", 16) + cell("trainee", 12) + cell("tries", 5) + cell("past flat", 14) +
                 cell("last", 10) + cell("best", 5) + "trend")
                    .c_str());
  for (const OverviewRow& row : progress_overview(all))
    print("%s\n", (cell(row.exercise, 16) + cell(row.who, 12) + cell(row.attempts, 5) +
                   cell(row.past_flat, 14) + cell(row.last, 10) + cell(row.best, 5) + row.trend)
                      .c_str());
  std::cout << "\n";
}

/// "door edge=90"
std::pair<std::string, double> target_from(const std::string& text) {
  const auto at = text.rfind('=');
  double percent = 0;
  const char* end = text.data() + text.size();
  if (at != std::string::npos && at > 0) {
    const auto [stop, error] = std::from_chars(text.data() + at + 1, end, percent);
    if (error == std::errc() && stop == end && percent > 0 && percent <= 100)
      return {text.substr(0, at), percent};
  }
  throw UsageError("--target " + text +
                   ": write the exercise and the per cent that shall be gone, \"door edge=90\"");
}

std::vector<ProgressView> views_of(const ProgressArguments& arguments, std::vector<TraineeProgress> all) {
  std::map<std::string, double> targets;
  for (const std::string& text : arguments.targets) targets.insert(target_from(text));
  for (const auto& [exercise, percent] : targets)
    if (std::none_of(all.begin(), all.end(),
                     [&name = exercise](const auto& one) { return one.exercise == name; }))
      throw UsageError("--target " + exercise + ": the log has no such exercise; labels must match exactly");
  const std::filesystem::path rules_file =
      arguments.rules.empty() ? data_dir() / "practice.json" : std::filesystem::path(arguments.rules);
  const std::vector<PracticeRule> rules = read_practice_rules(rules_file);
  std::vector<ProgressView> views;
  for (TraineeProgress& progress : all) {
    const auto target = targets.find(progress.exercise);
    ProgressView view;
    if (target != targets.end()) view.target_percent = target->second;
    view.advice = practice_advice(progress, rules, view.target_percent);
    view.progress = std::move(progress);
    views.push_back(std::move(view));
  }
  return views;
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
  require_ending("--html", arguments.html, {".html", ".htm"});
  require_ending("--pdf", arguments.pdf, {".pdf"});
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
  const std::vector<ProgressView> views = views_of(arguments, std::move(all));
  if (views.size() > 1) print_overview(views);
  for (const ProgressView& view : views) print_progress(view);
  for (const std::string& file : arguments.charts)
    write_atomically(file, chart_bytes(progress_chart(views), file));
  if (!arguments.json.empty()) write_atomically(arguments.json, progress_to_json(views));
  if (arguments.html.empty() && arguments.pdf.empty()) return exit_ok;
  ReportPage page = progress_page(views, arguments.workshop, today());
  page.words = english_on_paper(arguments.wording);
  if (!arguments.html.empty()) write_atomically(arguments.html, report_html(page));
  if (!arguments.pdf.empty()) write_atomically(arguments.pdf, report_pdf(page));
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
  command->add_option("--html", arguments->html, "Write a page to hand out")->type_name("FILE");
  command->add_option("--pdf", arguments->pdf, "Write the same page as PDF")->type_name("FILE");
  add_paper_option(*command, arguments->wording);
  command->add_option("--workshop", arguments->workshop, "Your name on the page")->type_name("NAME");
  command
      ->add_option("--target", arguments->targets,
                   "What an exercise asks for, in per cent gone: \"door edge=90\"; several times")
      ->allow_extra_args(false)
      ->type_name("EXERCISE=PERCENT");
  command->add_option("--rules", arguments->rules, "Your own rules for what to practise next (JSON)")
      ->type_name("FILE");
  command->footer(examples);
  command->callback([arguments, &chosen] { chosen = [arguments] { return run_progress(*arguments); }; });
}

}  // namespace ripplegauge::cli
