#include <algorithm>
#include <charconv>
#include <cmath>
#include <iostream>

#include "command.hpp"
#include "ripplegauge/advice/cooling.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/files/advice_file.hpp"
#include "ripplegauge/files/atomic_write.hpp"
#include "ripplegauge/severity/severity.hpp"

namespace ripplegauge::cli {
namespace {

constexpr const char* examples =
    R"(Start a clock when the heat is off, read the same spot from the same distance, twice or more.
Temperatures in degrees Celsius, times in seconds on that clock.

Examples:
  ripplegauge pullwindow --ambient 18 --at 0:50 --at 25:45 --between 34..40
  ripplegauge pullwindow --ambient 18 --at 0:50 --at 20:45.5 --at 40:42 --between 37..39 --json window.json)";

struct PullWindowArguments {
  double ambient_c = 0;
  std::vector<std::string> at;
  std::string between, json;
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

std::string moment(const Quantity& q) {
  return clock(q.value) + "  (" + shown(q.value, 0) + " s; 95 % between " + shown(q.low, 0) + " and " +
         shown(q.high, 0) + " s)";
}

void print(const PullWindow& window, const TemperatureRange& between, std::size_t readings) {
  const double first_c = window.warming ? between.low_c : between.high_c;
  const double last_c = window.warming ? between.high_c : between.low_c;
  const auto row = [](const char* label, const std::optional<Quantity>& when, double celsius) {
    if (when) std::cout << label << moment(*when) << ", at " << shown(celsius, 1) << " °C\n";
  };
  row("pull from   ", window.enters_s, first_c);
  row("pull until  ", window.leaves_s, last_c);
  if (window.enters_s || window.leaves_s) std::cout << "Minutes:seconds on the clock of your readings.\n";
  if (window.rate_per_s) {
    std::cout << "The panel halves its distance to the air every "
              << shown(std::log(2) / window.rate_per_s->value, 0) << " s";
    // two readings always lie on the law
    if (readings > 2)
      std::cout << "; the readings scatter by " << shown(window.rms_residual_c, 1) << " °C about that";
    std::cout << ".\n";
  }
  for (const Warning& warning : window.warnings) std::cout << "warning: " << warning.message << "\n";
}

int run_pullwindow(const PullWindowArguments& arguments) {
  std::vector<TemperatureReading> readings;
  for (const std::string& text : arguments.at) {
    const auto [at_s, celsius] = two_numbers(text, ":", "--at", "SECONDS:CELSIUS, such as 25:45.5");
    readings.push_back({at_s, celsius});
  }
  const auto [low_c, high_c] = two_numbers(arguments.between, "..", "--between", "LOW..HIGH, such as 34..40");
  const TemperatureRange between{low_c, high_c};
  const PullWindow window = fit_cooling(readings, arguments.ambient_c, between, arguments.options);
  if (!arguments.json.empty())
    write_atomically(arguments.json,
                     pull_window_to_json(window, readings, arguments.ambient_c, between, arguments.options));
  print(window, between, readings.size());
  return exit_ok;
}

}  // namespace

void add_pullwindow_command(CLI::App& app, ChosenCommand& chosen) {
  auto* command =
      app.add_subcommand("pullwindow", "When a warmed panel is at the right temperature for the pull");
  auto arguments = std::make_shared<PullWindowArguments>();
  command->add_option("--ambient", arguments->ambient_c, "Air temperature")->required()->type_name("CELSIUS");
  command->add_option("--at", arguments->at, "A reading of the panel; give two or more")
      ->required()
      ->type_name("SECONDS:CELSIUS");
  command->add_option("--between", arguments->between, "The temperatures to pull at")
      ->required()
      ->type_name("LOW..HIGH");
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
  command->footer(examples);
  command->callback([arguments, &chosen] { chosen = [arguments] { return run_pullwindow(*arguments); }; });
}

}  // namespace ripplegauge::cli
