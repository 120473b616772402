// Board files as JSON, schema 1.
#include "ripplegauge/json/board_file.hpp"

#include <algorithm>
#include <cmath>

#include "json/field_rules.hpp"
#include "json/json_write.hpp"
#include "ripplegauge/json/json_reader.hpp"

namespace ripplegauge {

std::optional<std::string> tag_conflict(const std::vector<BoardTag>& tags) {
  for (auto tag = tags.begin(); tag != tags.end(); ++tag) {
    for (auto other = tags.begin(); other != tag; ++other) {
      if (other->id == tag->id) return "two tags have the number " + std::to_string(tag->id);
      const double apart_mm = std::max(std::abs(other->x_mm - tag->x_mm), std::abs(other->y_mm - tag->y_mm));
      if (apart_mm < 0.5 * (other->side_mm + tag->side_mm))
        return "tags " + std::to_string(other->id) + " and " + std::to_string(tag->id) + " overlap";
    }
  }
  return std::nullopt;
}

namespace {

BoardDefinition board_from(ObjectReader object) {
  object.require_schema(1);
  BoardDefinition board;
  board.name = object.optional<std::string>("name", label_rule).value_or("");
  board.pitch_mm = object.required<double>("pitch_mm", length_rule);
  board.printed_mirrored = object.optional<bool>("printed_mirrored").value_or(false);
  for (ObjectReader& tag : object.optional_objects("tags", {.max = tag_count})) {
    board.tags.push_back({tag.required<int>("id", tag_id_rule), tag.required<double>("x_mm", position_rule),
                          tag.required<double>("y_mm", position_rule),
                          tag.required<double>("side_mm", length_rule)});
    tag.finish();
  }
  object.finish();
  if (const auto conflict = tag_conflict(board.tags)) object.fail("tags", *conflict);
  return board;
}

}  // namespace

BoardDefinition read_board(const std::filesystem::path& file) {
  return board_from(JsonFile::read(file).object());
}

BoardDefinition board_from_json(std::string_view text, const std::string& name) {
  return board_from(JsonFile::parse(text, name).object());
}

std::string board_to_json(const BoardDefinition& board) {
  OrderedJson json{{"schema", 1},
                   {"name", board.name},
                   {"pitch_mm", json_number(board.pitch_mm)},
                   {"printed_mirrored", board.printed_mirrored},
                   {"tags", OrderedJson::array()}};
  for (const BoardTag& tag : board.tags) {
    json["tags"].push_back({{"id", tag.id},
                            {"x_mm", json_number(tag.x_mm)},
                            {"y_mm", json_number(tag.y_mm)},
                            {"side_mm", json_number(tag.side_mm)}});
  }
  return json_text(json);
}

}  // namespace ripplegauge
