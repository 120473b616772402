// The program: declares the commands, runs the one that was chosen, and turns errors into messages and exit
// codes.
#include <fcntl.h>
#include <unistd.h>

#include <cerrno>
#include <csignal>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <exception>
#include <iostream>
#include <new>
#include <optional>
#include <string_view>

#include "app/memory.hpp"
#include "app/request.hpp"
#include "command.hpp"
#include "files/dash.hpp"
#include "files/severity_file.hpp"
#include "last_words.hpp"
#include "man_page.hpp"
#include "memory.hpp"
#include "option_hints.hpp"
#include "output_filter.hpp"
#include "ripplegauge/core/errors.hpp"
#include "slips.hpp"
#include "wording_options.hpp"

namespace ripplegauge::cli {

std::filesystem::path data_dir() {
  if (const char* given = std::getenv("RIPPLEGAUGE_DATA"); given != nullptr && *given != '\0') return given;
  std::error_code error;
  const auto program = std::filesystem::read_symlink("/proc/self/exe", error);
  if (!error) {
    // Beside the program rather than under a fixed prefix: a package can be unpacked anywhere.
    auto installed = (program.parent_path() / RIPPLEGAUGE_DATA_FROM_PROGRAM).lexically_normal();
    if (std::filesystem::is_directory(installed, error)) return installed;
  }
  return RIPPLEGAUGE_SOURCE_DATA_DIR;
}

std::string program_name() { return "ripplegauge " RIPPLEGAUGE_VERSION; }

SeverityRules default_severity_rules() {
  return read_severity_rules(data_dir() / "severity.json", data_dir() / "materials.json");
}

namespace {

int fail(int exit_code, const std::string& message) {
  std::cerr << "ripplegauge: " << one_line(message) << "\n";
  return exit_code;
}

int run(int argc, char** argv) {
  CLI::App app{
      "Measures dents in car panels from one photo of reflected stripes, says how to pull them, and\n"
      "carries the sizes into a quote."};
  app.name("ripplegauge");
  app.set_version_flag("--version", "ripplegauge " RIPPLEGAUGE_VERSION);
  app.add_flag_callback(
         "--man",
         [&app] {
           std::cout << man_page(app, RIPPLEGAUGE_VERSION);
           throw CLI::Success();
         },
         "Print the manual page")
      ->group("");  // for the build, not for people
  app.require_subcommand(1);
  app.get_formatter()->column_width(34);

  ChosenCommand chosen;
  add_check_command(app, chosen);
  add_measure_command(app, chosen);
  add_compare_command(app, chosen);
  add_study_command(app, chosen);
  add_progress_command(app, chosen);
  add_sheet_command(app, chosen);
  add_board_command(app, chosen);
  add_setup_command(app, chosen);
  add_camera_command(app, chosen);
  add_plan_command(app, chosen);
  add_next_command(app, chosen);
  add_pullwindow_command(app, chosen);
  add_job_command(app, chosen);
  add_quote_command(app, chosen);
  add_prices_command(app, chosen);
  add_page_command(app, chosen);

  accept_decimal_commas(app);

  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    const bool unexpected = error.get_exit_code() == static_cast<int>(CLI::ExitCodes::ExtrasError) ||
                            error.get_exit_code() == static_cast<int>(CLI::ExitCodes::RequiredError);
    if (const std::string slip = unexpected ? unknown_word(app, {argv + 1, argv + argc}) : "";
        !slip.empty()) {
      std::cerr << slip << "\n";
      return exit_usage;
    }
    const int code = app.exit(error);
    return code == 0 ? exit_ok : exit_usage;
  }
  if (!chosen) return fail(exit_usage, "nothing to do; see --help");
  std::optional<LinesInUnits> told;
  if (const ShownUnits units = units_asked_of(app); units.any()) told.emplace(std::cout, units);
  return chosen();
}

/// A program that was started without standard streams would take the first file that it opens for one.
void open_standard_streams() {
  int opened = 0;  // the lowest free number, so that they are filled from 0 up
  while (opened >= 0 && opened <= 2) opened = ::open("/dev/null", O_RDWR);
  if (opened > 2) ::close(opened);
}

/// A reader that has seen enough must not cost the files that a command writes, so the signal of a broken
/// pipe is put off until all is done.
class PutOffPipeSignal {
 public:
  PutOffPipeSignal() : is_heard_(std::signal(SIGPIPE, SIG_IGN) != SIG_IGN) {}

  void pass_on_if(bool reader_left) const {
    if (!reader_left || !is_heard_) return;
    std::signal(SIGPIPE, SIG_DFL);
    std::raise(SIGPIPE);
  }

 private:
  bool is_heard_;
};
/// Where a file goes to standard output ("--json -"), words for people may not stand among it: they go where
/// errors go.
void make_room_for_dash(int argc, char** argv) {
  bool any = false;
  for (int i = 2; i < argc; ++i) {
    const std::string_view argument = argv[i], before = argv[i - 1];
    const bool an_output = before.starts_with("--") && before != "--prices" && before != "--values";
    any = any || (argument == "-" && an_output) || (argument.starts_with("--") && argument.ends_with("=-"));
  }
  if (!any) return;
  descriptor_for_dash() = ::dup(STDOUT_FILENO);
  ::dup2(STDERR_FILENO, STDOUT_FILENO);
}

/// What was printed may have gone into a file on a full disk: that is no success.
int with_output_written(int exit_code, const PutOffPipeSignal& pipe_signal) {
  std::cout.flush();
  pipe_signal.pass_on_if(reader_left(std::cout));
  errno = 0;
  if (std::fflush(stdout) == 0 && std::ferror(stdout) == 0 && std::cout) return exit_code;
  return fail(exit_file, std::string("the output cannot be written") +
                             (errno != 0 ? std::string(": ") + std::strerror(errno) : ""));
}

/// Runs the command; what it throws becomes a message and an exit code. Throws std::bad_alloc where not even
/// the message could be made.
int run_and_tell(int argc, char** argv, const PutOffPipeSignal& pipe_signal) {
  try {
    return with_output_written(run(argc, argv), pipe_signal);
  } catch (const PitchMissing& error) {
    return fail(exit_usage, std::string(error.what()) +
                                ": give --board-pitch MM, --board FILE, or a --profile that has it");
  } catch (const UsageError& error) {
    return fail(exit_usage, error.what());
  } catch (const PhotoForReading& error) {
    return fail(exit_file, error.what() + reading_hint(error));
  } catch (const FileError& error) {
    return fail(exit_file, error.what());
  } catch (const std::exception& error) {
    if (is_out_of_memory(error)) return say_out_of_memory();
    return fail(exit_file, std::string("unexpected: ") + error.what());
  }
}

}  // namespace
}  // namespace ripplegauge::cli

int main(int argc, char** argv) {
  using namespace ripplegauge;
  cli::open_standard_streams();
  cli::speak_before_breaking_down();
  std::signal(SIGXFSZ, SIG_IGN);  // a file that may not grow further is told like a full disk
  const cli::PutOffPipeSignal pipe_signal;
  const cli::FilteredStream out(std::cout), err(std::cerr);
  try {
    cli::make_room_for_dash(argc, argv);
    return cli::run_and_tell(argc, argv, pipe_signal);
  } catch (const std::bad_alloc&) {
    return cli::say_out_of_memory();
  }
}
