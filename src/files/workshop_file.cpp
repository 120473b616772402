// The workshop profile as a file.
#include "files/workshop_file.hpp"

#include "json/field_rules.hpp"
#include "json/json_write.hpp"
#include "ripplegauge/json/json_reader.hpp"

namespace ripplegauge {
namespace {

namespace fs = std::filesystem;

struct Folders {
  fs::path profile, data;
};

std::optional<fs::path> optional_path(ObjectReader& object, std::string_view key, const Folders& folders) {
  const auto name = object.optional<std::string>(key, {.min_bytes = 1, .max_bytes = 4096});
  if (!name) return std::nullopt;
  if (fs::path(*name).is_absolute()) return *name;
  std::string looked_in;
  for (const fs::path& folder : {folders.profile, folders.data}) {
    std::error_code unreadable;
    if (fs::path found = folder / *name; fs::exists(found, unreadable)) return found;
    if (folder.empty() && !looked_in.empty()) continue;
    looked_in += (looked_in.empty() ? "" : " nor in ") + (folder.empty() ? "this folder" : folder.string());
  }
  object.fail(key, "there is no such file in " + looked_in + "; give its full path");
}

bool lies_in(const fs::path& file, const fs::path& folder) {
  const fs::path from_there = file.lexically_relative(folder);
  return !from_there.empty() && *from_there.begin() != "..";
}

OrderedJson name_of(const std::optional<fs::path>& file, const Folders& folders) {
  if (!file) return nullptr;
  const fs::path whole = fs::absolute(*file).lexically_normal();
  if (lies_in(whole, folders.profile)) return whole.lexically_relative(folders.profile).string();
  if (!folders.data.empty() && lies_in(whole, folders.data))
    return whole.lexically_relative(folders.data).string();
  return whole.string();
}

OrderedJson or_null(const std::optional<std::string>& text) {
  return text ? OrderedJson(*text) : OrderedJson();
}

fs::path whole_folder(const fs::path& folder) {
  fs::path whole = fs::absolute(folder.empty() ? "." : folder).lexically_normal();
  return whole.has_filename() ? whole : whole.parent_path();  // without a slash at its end
}

}  // namespace

WorkshopProfile read_workshop(const fs::path& file, const fs::path& data_folder) {
  ObjectReader object = JsonFile::read(file).object();
  object.require_schema(1);
  const Folders folders{file.parent_path(), data_folder};
  WorkshopProfile profile;
  profile.board_pitch_mm = object.optional<double>("board_pitch_mm", length_rule);
  profile.board_distance_mm = object.optional<double>("board_distance_mm", length_rule);
  profile.bar_length_mm = object.optional<double>("bar_length_mm", length_rule);
  profile.card_file = optional_path(object, "card_file", folders);
  profile.board_file = optional_path(object, "board_file", folders);
  profile.camera_file = optional_path(object, "camera_file", folders);
  profile.kit_file = optional_path(object, "kit_file", folders);
  profile.coin_country = object.optional<std::string>("coin_country", label_rule);
  profile.language = object.optional<std::string>("language", label_rule);
  profile.locale = object.optional<std::string>("locale", label_rule);
  profile.paper = object.optional<std::string>("paper", label_rule);
  if (profile.paper && *profile.paper != "a4" && *profile.paper != "letter")
    object.fail("paper", "it must be a4 or letter");
  object.finish();
  return profile;
}

std::string workshop_to_json(const WorkshopProfile& profile, const fs::path& folder,
                             const fs::path& data_folder) {
  const Folders folders{whole_folder(folder), data_folder.empty() ? fs::path{} : whole_folder(data_folder)};
  return json_text(OrderedJson{{"schema", 1},
                               {"board_pitch_mm", json_number(profile.board_pitch_mm)},
                               {"board_distance_mm", json_number(profile.board_distance_mm)},
                               {"bar_length_mm", json_number(profile.bar_length_mm)},
                               {"card_file", name_of(profile.card_file, folders)},
                               {"board_file", name_of(profile.board_file, folders)},
                               {"camera_file", name_of(profile.camera_file, folders)},
                               {"kit_file", name_of(profile.kit_file, folders)},
                               {"coin_country", or_null(profile.coin_country)},
                               {"language", or_null(profile.language)},
                               {"locale", or_null(profile.locale)},
                               {"paper", or_null(profile.paper)}});
}

}  // namespace ripplegauge
