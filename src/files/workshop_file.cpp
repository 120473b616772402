#include "ripplegauge/files/workshop_file.hpp"

#include "ripplegauge/json/field_rules.hpp"
#include "ripplegauge/json/json_reader.hpp"

namespace ripplegauge {
namespace {

std::optional<std::filesystem::path> optional_path(ObjectReader& object, std::string_view key,
                                                   const std::filesystem::path& folder) {
  const auto name = object.optional<std::string>(key, {.min_bytes = 1, .max_bytes = 4096});
  return name ? std::optional(folder / *name) : std::nullopt;
}

}  // namespace

WorkshopProfile read_workshop(const std::filesystem::path& file) {
  ObjectReader object = JsonFile::read(file).object();
  object.require_schema(1);
  WorkshopProfile profile;
  profile.board_pitch_mm = object.optional<double>("board_pitch_mm", length_rule);
  profile.board_distance_mm = object.optional<double>("board_distance_mm", length_rule);
  profile.bar_length_mm = object.optional<double>("bar_length_mm", length_rule);
  profile.card_file = optional_path(object, "card_file", file.parent_path());
  profile.board_file = optional_path(object, "board_file", file.parent_path());
  profile.camera_file = optional_path(object, "camera_file", file.parent_path());
  profile.coin_country = object.optional<std::string>("coin_country", label_rule);
  object.finish();
  return profile;
}

}  // namespace ripplegauge
