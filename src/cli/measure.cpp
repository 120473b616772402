#include "command.hpp"

namespace ripplegauge::cli {

void add_measure_command(CLI::App& app, ChosenCommand& chosen) {
  auto* command = app.add_subcommand("measure", "Measure the dents in a photo");
  command->callback([&chosen] { chosen = [] { return exit_ok; }; });
}

}  // namespace ripplegauge::cli
