// How a command stands on the command line: one file a command, each with one add_..._command() that declares
// its options and hands a function to run to the dispatcher. Exit codes: 0 done, 2 wrong use, 3 photo
// refused, 4 a file cannot be read or written.
#pragma once

#include <CLI/CLI.hpp>
#include <filesystem>
#include <functional>
#include <string>

#include "severity/severity.hpp"

namespace ripplegauge::cli {

enum ExitCode { exit_ok = 0, exit_usage = 2, exit_refused = 3, exit_file = 4 };

/// Set by the chosen command's callback, run by main() inside its error handling. Returns the exit code.
using ChosenCommand = std::function<int()>;

/// The folder of the data files that come with the program (cards, boards, rules, kits): where they were
/// installed with it, else calibration/ of the source tree; RIPPLEGAUGE_DATA overrides both.
std::filesystem::path data_dir();

/// "ripplegauge 0.1.0"
std::string program_name();

/// The severity rules of the data folder.
SeverityRules default_severity_rules();

/// A command's option, or nothing. CLI11's own search ends the program where memory runs out.
inline const CLI::Option* option_named(const CLI::App& command, const std::string& name) {
  const auto named = command.get_options([&](const CLI::Option* option) { return option->check_name(name); });
  return named.empty() ? nullptr : named.front();
}

void add_check_command(CLI::App& app, ChosenCommand& chosen);
void add_measure_command(CLI::App& app, ChosenCommand& chosen);
void add_compare_command(CLI::App& app, ChosenCommand& chosen);
void add_study_command(CLI::App& app, ChosenCommand& chosen);
void add_progress_command(CLI::App& app, ChosenCommand& chosen);
void add_sheet_command(CLI::App& app, ChosenCommand& chosen);
void add_board_command(CLI::App& app, ChosenCommand& chosen);
void add_setup_command(CLI::App& app, ChosenCommand& chosen);
void add_camera_command(CLI::App& app, ChosenCommand& chosen);
void add_plan_command(CLI::App& app, ChosenCommand& chosen);
void add_next_command(CLI::App& app, ChosenCommand& chosen);
void add_pullwindow_command(CLI::App& app, ChosenCommand& chosen);
void add_job_command(CLI::App& app, ChosenCommand& chosen);
void add_quote_command(CLI::App& app, ChosenCommand& chosen);
void add_prices_command(CLI::App& app, ChosenCommand& chosen);
void add_page_command(CLI::App& app, ChosenCommand& chosen);

}  // namespace ripplegauge::cli
