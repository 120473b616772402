// When to pull, from a few readings of a thermometer.
#include <poll.h>
#include <unistd.h>

#include <algorithm>
#include <charconv>
#include <chrono>
#include <cmath>
#include <iostream>
#include <thread>

#include "advice/cooling.hpp"
#include "command.hpp"
#include "files/advice_file.hpp"
#include "files/atomic_write.hpp"
#include "ripplegauge/core/errors.hpp"
#include "severity/severity.hpp"
#include "terminal.hpp"
#include "wording_options.hpp"
#include "words/text.hpp"

namespace ripplegauge::cli {
namespace {

constexpr const char* examples =
    R"(Without --at the program keeps the time: type each reading as you take it, and it counts down.
With it, start a clock when the heat is off and read the panel beside the tab twice or more, always
from the same distance. A reading is written as temperature@time; a time is minutes:seconds (0:25)
or seconds (25), in what you give and in what you are told.

Examples:
  ripplegauge pullwindow --ambient 18
  ripplegauge pullwindow --ambient 18 --at 50@0:00 --at 45@0:25
  ripplegauge pullwindow --ambient 18 --at 50@0 --at 45.5@20 --at 42@40 --between 28..37 --countdown)";

struct PullWindowArguments {
  double ambient_c = 0;
  std::vector<std::string> at;
  std::string between = "34..40", json;
  bool countdown = false;
  ShownUnits units;
  CoolingOptions options;
};

double number_in(std::string_view text, const std::string& option, const std::string& form) {
  if (text.starts_with('+')) text.remove_prefix(1);
  double value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc() || end != text.data() + text.size() || !std::isfinite(value))
    throw UsageError(option + ": \"" + std::string(text) + "\" is not a number; write " + form);
  return value;
}

/// The two numbers around `separator`.
std::pair<double, double> two_numbers(const std::string& text, const std::string& separator,
                                      const std::string& option, const std::string& form) {
  const auto at = text.find(separator, 1);
  if (text.empty() || at == std::string::npos)
    throw UsageError(option + ": \"" + text + "\" must look like " + form);
  return {number_in(std::string_view(text).substr(0, at), option, form),
          number_in(std::string_view(text).substr(at + separator.size()), option, form)};
}

std::string clock(double seconds) {
  constexpr double longest_s = 1e9;  // readings that hardly change can point anywhere
  const long whole = std::lround(std::min(std::abs(seconds), longest_s));
  const std::string rest = std::to_string(whole % 60);
  return (seconds < -0.5 ? "-" : "") + std::to_string(whole / 60) + ":" + (rest.size() < 2 ? "0" : "") + rest;
}

/// "0:50" or "50", in seconds.
double time_in(const std::string& text, const std::string& form) {
  const auto colon = text.find(':');
  if (colon == std::string::npos) return number_in(text, "--at", form);
  const double minutes = number_in(text.substr(0, colon), "--at", form),
               seconds = number_in(text.substr(colon + 1), "--at", form);
  if (!(seconds >= 0 && seconds < 60 && minutes >= 0))
    throw UsageError("--at: \"" + text + "\" is no time of minutes:seconds; write " + form);
  return 60 * minutes + seconds;
}

TemperatureReading reading_in(const std::string& text) {
  const std::string form = "CELSIUS@M:SS, such as 45.5@0:25";
  const auto at = text.find('@');
  if (at == std::string::npos)
    throw UsageError("--at: \"" + text + "\" lacks the @ between temperature and time; write " + form);
  return {time_in(text.substr(at + 1), form), number_in(std::string_view(text).substr(0, at), "--at", form)};
}

/// Its interval from the start of the clock on, where the moment itself is not before it.
std::string moment(const char* what, const Quantity& when) {
  const double low_s = std::max(when.low, std::min(0.0, when.value));
  return std::string(what) + " " + clock(when.value) + " (" + clock(low_s) + " to " + clock(when.high) + ")";
}

/// What the times are worth against the window itself.
std::string roughness(const PullWindow& window) {
  if (!window.enters_s || !window.leaves_s) return "";
  const double lasts_s = window.leaves_s->value - window.enters_s->value;
  const double open_s =
      std::max(window.enters_s->high - window.enters_s->low, window.leaves_s->high - window.leaves_s->low);
  if (open_s < lasts_s) return "";
  return "These times are rougher than the window is long (" + shown(lasts_s, 0) +
         " s): go by the thermometer, or read it once more.";
}

void print(const PullWindow& window, const TemperatureRange& between, std::size_t readings) {
  std::cout << "Pull when the thermometer beside the tab reads " << shown(between.low_c, 1) << " to "
            << shown(between.high_c, 1) << " °C.\n";
  if (window.enters_s || window.leaves_s) {
    std::cout << "By your clock (minutes:seconds): ";
    if (window.enters_s) std::cout << moment("from", *window.enters_s);
    if (window.enters_s && window.leaves_s) std::cout << ", ";
    if (window.leaves_s) std::cout << moment("until", *window.leaves_s);
    std::cout << ".\n";
  }
  if (const std::string rough = roughness(window); !rough.empty()) std::cout << wrap(rough, "", "");
  if (window.rate_per_s) {
    std::cout << "The panel halves its distance to the air every "
              << shown(std::log(2) / window.rate_per_s->value, 0) << " s";
    // two readings always lie on the law
    if (readings > 2)
      std::cout << "; the readings scatter by " << shown(window.rms_residual_c, 1) << " K about that";
    std::cout << ".\n";
  }
  for (const Warning& warning : window.warnings) std::cout << wrap("warning: " + warning.message, "", "  ");
}

/// One line that changes: how long to wait, or how long is left. False when it is too late.
bool show_countdown(const PullWindow& window, double at_s) {
  if (!window.leaves_s) return true;
  const bool waiting = window.enters_s && at_s < window.enters_s->value,
             late = at_s >= window.leaves_s->value;
  if (late) {
    std::cout << "\rtoo cool by now: warm the panel again, or read the thermometer   \n";
    return false;
  }
  std::cout << "\r" << clock(at_s) << (waiting ? "  wait " : "  PULL NOW, ")
            << clock((waiting ? window.enters_s->value : window.leaves_s->value) - at_s)
            << (waiting ? "     " : " left ") << std::flush;
  return true;
}

/// The last reading is now. On a terminal one line that changes, else nothing.
void count_down(const PullWindow& window, double now_s) {
  if (!window.leaves_s || isatty(STDOUT_FILENO) == 0) return;
  const auto start = std::chrono::steady_clock::now();
  while (show_countdown(
      window, now_s + std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count()))
    std::this_thread::sleep_for(std::chrono::milliseconds(200));
}

bool more_typed() {
  if (std::cin.rdbuf()->in_avail() > 0) return true;
  pollfd input{STDIN_FILENO, POLLIN, 0};
  constexpr int wait_ms = 200;
  return ::poll(&input, 1, wait_ms) > 0;
}

/// Readings as they are typed, timed by the program's own clock, which starts with the first of them; a blank
/// line or the end of the input ends it. From the second one on, window and countdown.
int run_live(const PullWindowArguments& arguments, const TemperatureRange& between) {
  std::cout << "Heat off. Read the panel beside the tab, type what it says, Enter; again some 20 s later.\n"
               "Each further reading makes it surer. Enter alone ends it.\n";
  std::vector<TemperatureReading> readings;
  std::optional<PullWindow> window;
  std::chrono::steady_clock::time_point start;
  const auto now_s = [&] {
    return std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count();
  };
  while (true) {
    if (!more_typed()) {
      if (window && isatty(STDOUT_FILENO) != 0 && !show_countdown(*window, now_s())) return exit_ok;
      continue;
    }
    std::string line;
    if (!std::getline(std::cin, line) || trimmed(line).empty()) break;
    if (readings.empty()) start = std::chrono::steady_clock::now();
    try {
      readings.push_back({now_s(), number_in(trimmed(line), "the reading", "it in °C, such as 45.5")});
      if (readings.size() < 2) continue;
      window = fit_cooling(readings, arguments.ambient_c, between, arguments.options);
      print(*window, between, readings.size());
    } catch (const UsageError& error) {
      std::cout << error.what() << "\n";
    }
  }
  if (!window) throw UsageError("a window needs two readings or more, typed in or as --at CELSIUS@M:SS");
  return exit_ok;
}

int run_pullwindow(const PullWindowArguments& arguments) {
  std::vector<TemperatureReading> readings;
  for (const std::string& text : arguments.at) readings.push_back(reading_in(text));
  const auto [low_c, high_c] = two_numbers(arguments.between, "..", "--between", "LOW..HIGH, such as 34..40");
  const TemperatureRange between{low_c, high_c};
  if (readings.empty() && !arguments.json.empty()) throw UsageError("--json needs the readings as --at");
  if (readings.empty()) return run_live(arguments, between);
  const PullWindow window = fit_cooling(readings, arguments.ambient_c, between, arguments.options);
  if (!arguments.json.empty())
    write_atomically(arguments.json,
                     pull_window_to_json(window, readings, arguments.ambient_c, between, arguments.options));
  print(window, between, readings.size());
  double last_s = readings.front().at_s;
  for (const TemperatureReading& reading : readings) last_s = std::max(last_s, reading.at_s);
  if (arguments.countdown) count_down(window, last_s);
  return exit_ok;
}

}  // namespace

void add_pullwindow_command(CLI::App& app, ChosenCommand& chosen) {
  auto* command =
      app.add_subcommand("pullwindow", "When a warmed panel is at the right temperature for the pull");
  auto arguments = std::make_shared<PullWindowArguments>();
  command->add_option("--ambient", arguments->ambient_c, "Air temperature")->required()->type_name("CELSIUS");
  command
      ->add_option(
          "--at", arguments->at,
          "A reading of the panel; give two or more. Without, readings are\ntyped in as they are taken")
      ->type_name("CELSIUS@M:SS");
  command->add_option("--between", arguments->between, "The temperatures to pull at; those of a common glue")
      ->type_name("LOW..HIGH")
      ->capture_default_str();
  command->add_flag("--countdown", arguments->countdown,
                    "On a terminal: count down from now, the moment of the last reading");
  command
      ->add_option("--thermometer", arguments->options.thermometer_limit_c,
                   "Error limit of the thermometer; 1.5 is what ordinary ones promise")
      ->type_name("CELSIUS")
      ->capture_default_str();
  command
      ->add_option("--ambient-limit", arguments->options.ambient_limit_c,
                   "Error limit of the air temperature")
      ->type_name("CELSIUS")
      ->capture_default_str();
  command->add_option("--json", arguments->json, "Write the window as JSON")->type_name("FILE");
  add_unit_options(*command, arguments->units);
  command->footer(examples);
  command->callback([arguments, &chosen] { chosen = [arguments] { return run_pullwindow(*arguments); }; });
}

}  // namespace ripplegauge::cli
