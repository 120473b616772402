// The options by which a person says how a photo was taken.
#include "photo_options.hpp"

#include <algorithm>
#include <thread>

#include "command.hpp"
#include "ripplegauge/core/errors.hpp"
#include "slips.hpp"

namespace ripplegauge::cli {

std::shared_ptr<PhotoArguments> add_photo_options(CLI::App& command) {
  auto arguments = std::make_shared<PhotoArguments>();
  const std::string group = "How the photo was taken";
  command.add_option("--board-pitch", arguments->pitch_mm, "One light plus one dark stripe of the board, mm")
      ->delimiter(',')
      ->allow_extra_args(false)  // else it would take the photos that follow for more values
      ->check(possible_board_pitch())
      ->type_name("MM")
      ->group(group);
  command
      .add_option("--board-distance", arguments->distance_mm,
                  "Not needed: a tape from the dent to the stripes seen in\nit narrows the intervals, mm; "
                  "188,381 for two photos")
      ->delimiter(',')
      ->check(plausible_board_distance())
      ->allow_extra_args(false)  // else it would take the photos that follow for more values
      ->type_name("MM")
      ->group(group);
  command
      .add_option("--bar-length", arguments->bar_mm, "What the card's 100 mm check bar really measures, mm")
      ->check(plausible_bar_length())
      ->type_name("MM")
      ->group(group);
  command.add_option("--board", arguments->board_file, "Board file of a tagged board")
      ->type_name("FILE")
      ->group(group);
  command.add_option("--card", arguments->card_file, "Card file, if not the standard corner card")
      ->type_name("FILE")
      ->group(group);
  command
      .add_option("--camera", arguments->camera_file,
                  "Camera profile of the phone's lens; see ripplegauge camera")
      ->type_name("FILE")
      ->group(group);
  add_profile_option(command, arguments->profile_file)->group(group);
  return arguments;
}

CLI::Option* add_profile_option(CLI::App& command, std::string& file) {
  return command
      .add_option("--profile", file, "Workshop profile with what stays the same; see ripplegauge\nsetup")
      ->type_name("FILE");
}

CardDefinition card_or_standard(const std::string& file) {
  return ripplegauge::card_or_standard(file, data_dir());
}

CardDefinition card_for(const PhotoArguments& arguments) {
  return ripplegauge::card_for(arguments, data_dir());
}

MeasureRequest request_for(const PhotoArguments& arguments, std::size_t index, std::size_t count) {
  return ripplegauge::request_for(arguments, index, count, data_dir());
}

int processors(int asked_for) {
  return asked_for > 0 ? asked_for : std::max(1, static_cast<int>(std::thread::hardware_concurrency()));
}

}  // namespace ripplegauge::cli
