#include <fcntl.h>
#include <unistd.h>

#include <cerrno>
#include <cstdio>
#include <cstdlib>
#include <cstring>
#include <exception>
#include <iostream>
#include <new>

#include "command.hpp"
#include "man_page.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/files/severity_file.hpp"

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
  std::cerr << "ripplegauge: " << message << "\n";
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
  add_camera_command(app, chosen);
  add_plan_command(app, chosen);
  add_next_command(app, chosen);
  add_pullwindow_command(app, chosen);
  add_job_command(app, chosen);
  add_quote_command(app, chosen);
  add_prices_command(app, chosen);

  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    const int code = app.exit(error);
    return code == 0 ? exit_ok : exit_usage;
  }
  return chosen ? chosen() : fail(exit_usage, "nothing to do; see --help");
}

/// A program that was started without standard streams would take the first file that it opens for one.
void open_standard_streams() {
  int opened = 0;  // the lowest free number, so that they are filled from 0 up
  while (opened >= 0 && opened <= 2) opened = ::open("/dev/null", O_RDWR);
  if (opened > 2) ::close(opened);
}

/// What was printed may have gone into a file on a full disk: that is no success.
int with_output_written(int exit_code) {
  std::cout.flush();
  errno = 0;
  if (std::fflush(stdout) == 0 && std::ferror(stdout) == 0 && std::cout) return exit_code;
  return fail(exit_file, std::string("the output cannot be written") +
                             (errno != 0 ? std::string(": ") + std::strerror(errno) : ""));
}

}  // namespace
}  // namespace ripplegauge::cli

int main(int argc, char** argv) {
  using namespace ripplegauge;
  cli::open_standard_streams();
  try {
    return cli::with_output_written(cli::run(argc, argv));
  } catch (const UsageError& error) {
    return cli::fail(cli::exit_usage, error.what());
  } catch (const FileError& error) {
    return cli::fail(cli::exit_file, error.what());
  } catch (const std::bad_alloc&) {
    return cli::fail(cli::exit_file, "out of memory; use a smaller photo");
  } catch (const std::exception& error) {
    return cli::fail(cli::exit_file, std::string("unexpected: ") + error.what());
  }
}
