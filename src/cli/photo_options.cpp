#include "photo_options.hpp"

#include <algorithm>
#include <thread>

#include "command.hpp"
#include "ripplegauge/core/errors.hpp"
#include "ripplegauge/files/board_file.hpp"
#include "ripplegauge/files/camera_profile_file.hpp"
#include "ripplegauge/files/card_file.hpp"
#include "ripplegauge/files/workshop_file.hpp"
#include "slips.hpp"

namespace ripplegauge::cli {

namespace {

WorkshopProfile profile_of(const PhotoArguments& arguments) {
  return arguments.profile_file.empty() ? WorkshopProfile{}
                                        : read_workshop(arguments.profile_file, data_dir());
}

std::optional<double> value_for(const std::vector<double>& values, const char* option, std::size_t index,
                                std::size_t count) {
  if (values.empty()) return std::nullopt;
  if (values.size() != 1 && values.size() != count)
    throw UsageError(std::string(option) + " has " + std::to_string(values.size()) + " values for " +
                     std::to_string(count) + " photos; give one for all, or one for each" +
                     (count == 1 ? " (decimals take a point, not a comma)" : ""));
  return values[values.size() == 1 ? 0 : index];
}

}  // namespace

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
  return read_card(file.empty() ? data_dir() / "card-corner.json" : std::filesystem::path(file));
}

CardDefinition card_for(const PhotoArguments& arguments) {
  if (!arguments.card_file.empty()) return read_card(arguments.card_file);
  const WorkshopProfile profile = profile_of(arguments);
  return profile.card_file ? read_card(*profile.card_file) : card_or_standard("");
}

MeasureRequest request_for(const PhotoArguments& arguments, std::size_t index, std::size_t count) {
  const WorkshopProfile profile = profile_of(arguments);
  MeasureRequest request;
  request.card = card_for(arguments);
  const auto pitch_mm = value_for(arguments.pitch_mm, "--board-pitch", index, count);
  if (!arguments.board_file.empty())
    request.board = read_board(arguments.board_file);
  else if (profile.board_file && !pitch_mm)
    request.board = read_board(*profile.board_file);
  if (!arguments.camera_file.empty())
    request.camera = read_camera_profile(arguments.camera_file);
  else if (profile.camera_file)
    request.camera = read_camera_profile(*profile.camera_file);
  request.board_pitch_mm = pitch_mm ? *pitch_mm : profile.board_pitch_mm.value_or(0);
  if (!request.board && request.board_pitch_mm == 0)
    throw UsageError(
        "the board's pitch is missing: give --board-pitch MM (one light plus one dark stripe), --board FILE, "
        "or a --profile that has it");
  const auto distance_mm = value_for(arguments.distance_mm, "--board-distance", index, count);
  request.board_distance_mm = distance_mm ? distance_mm : profile.board_distance_mm;
  const auto bar_mm = arguments.bar_mm ? arguments.bar_mm : profile.bar_length_mm;
  request.bar_measured = bar_mm.has_value();
  request.bar_length_mm = bar_mm.value_or(request.card.bar_nominal_mm);
  return request;
}

int processors(int asked_for) {
  return asked_for > 0 ? asked_for : std::max(1, static_cast<int>(std::thread::hardware_concurrency()));
}

}  // namespace ripplegauge::cli
