// From what a person says of a photo to the request that is measured.
#include "app/request.hpp"

#include "core/expects.hpp"
#include "files/camera_profile_file.hpp"
#include "files/workshop_file.hpp"
#include "ripplegauge/json/board_file.hpp"
#include "ripplegauge/json/card_file.hpp"

namespace ripplegauge {
namespace {

WorkshopProfile profile_of(const SaidOfPhotos& said, const std::filesystem::path& data_folder) {
  return said.profile_file.empty() ? WorkshopProfile{} : read_workshop(said.profile_file, data_folder);
}

std::optional<double> value_for(const std::vector<double>& values, const std::string& what, std::size_t index,
                                std::size_t count) {
  if (values.empty()) return std::nullopt;
  if (values.size() != 1 && values.size() != count)
    throw UsageError(what + " has " + std::to_string(values.size()) + " values for " + std::to_string(count) +
                     " photos; give one for all, or one for each" +
                     (count == 1 ? " (decimals take a point, not a comma)" : ""));
  return values[values.size() == 1 ? 0 : index];
}

}  // namespace

PitchMissing::PitchMissing() : UsageError("the board's pitch is missing (one light plus one dark stripe)") {}

CardDefinition card_or_standard(const std::string& file, const std::filesystem::path& data_folder) {
  return read_card(file.empty() ? data_folder / "card-corner.json" : std::filesystem::path(file));
}

CardDefinition card_for(const SaidOfPhotos& said, const std::filesystem::path& data_folder) {
  if (!said.card_file.empty()) return read_card(said.card_file);
  const WorkshopProfile profile = profile_of(said, data_folder);
  return profile.card_file ? read_card(*profile.card_file) : card_or_standard("", data_folder);
}

MeasureRequest request_for(const SaidOfPhotos& said, std::size_t index, std::size_t count,
                           const std::filesystem::path& data_folder) {
  expects(index < count, "a photo among those counted");
  const WorkshopProfile profile = profile_of(said, data_folder);
  MeasureRequest request;
  request.card = card_for(said, data_folder);
  const auto pitch_mm = value_for(said.pitch_mm, "the board's pitch", index, count);
  if (!said.board_file.empty())
    request.board = read_board(said.board_file);
  else if (profile.board_file && !pitch_mm)
    request.board = read_board(*profile.board_file);
  if (!said.camera_file.empty())
    request.camera = read_camera_profile(said.camera_file);
  else if (profile.camera_file)
    request.camera = read_camera_profile(*profile.camera_file);
  request.board_pitch_mm = pitch_mm ? *pitch_mm : profile.board_pitch_mm.value_or(0);
  if (!request.board && request.board_pitch_mm == 0) throw PitchMissing();
  const auto distance_mm = value_for(said.distance_mm, "the board's distance", index, count);
  request.board_distance_mm = distance_mm ? distance_mm : profile.board_distance_mm;
  const auto bar_mm = said.bar_mm ? said.bar_mm : profile.bar_length_mm;
  request.bar_measured = bar_mm.has_value();
  request.bar_length_mm = bar_mm.value_or(request.card.bar_nominal_mm);
  return request;
}

}  // namespace ripplegauge
