// Card files as JSON, schema 1.
#include "ripplegauge/json/card_file.hpp"

#include <algorithm>

#include "json/field_rules.hpp"
#include "ripplegauge/json/board_file.hpp"
#include "ripplegauge/json/json_reader.hpp"

namespace ripplegauge {
namespace {

RectangleMm read_paper(ObjectReader& object) {
  const RectangleMm paper{
      object.required<double>("x0_mm", position_rule), object.required<double>("y0_mm", position_rule),
      object.required<double>("x1_mm", position_rule), object.required<double>("y1_mm", position_rule)};
  object.finish();
  if (paper.x0_mm >= paper.x1_mm) object.fail("x1_mm", "it must be larger than x0_mm");
  if (paper.y0_mm >= paper.y1_mm) object.fail("y1_mm", "it must be larger than y0_mm");
  return paper;
}

CardTag read_tag(ObjectReader& object, const std::vector<RectangleMm>& paper) {
  const CardTag tag{object.required<int>("id", tag_id_rule), object.required<double>("x_mm", position_rule),
                    object.required<double>("y_mm", position_rule)};
  object.finish();
  const auto holds_centre = [&tag](const RectangleMm& part) {
    return tag.x_mm > part.x0_mm && tag.x_mm < part.x1_mm && tag.y_mm > part.y0_mm && tag.y_mm < part.y1_mm;
  };
  if (std::none_of(paper.begin(), paper.end(), holds_centre))
    object.fail("x_mm", "there is no paper under the tag");
  return tag;
}

void refuse_conflicts(const ObjectReader& object, const CardDefinition& card) {
  std::vector<BoardTag> squares;
  for (const CardTag& tag : card.tags) squares.push_back({tag.id, tag.x_mm, tag.y_mm, card.tag_side_mm});
  if (const auto conflict = tag_conflict(squares)) object.fail("tags", *conflict);
}

}  // namespace

CardDefinition read_card(const std::filesystem::path& file) {
  ObjectReader object = JsonFile::read(file).object();
  object.require_schema(1);
  CardDefinition card;
  card.name = object.required<std::string>("name", label_rule);
  object.required_choice("tag_family", {"36h11"});
  card.tag_side_mm = object.required<double>("tag_side_mm", length_rule);
  card.bar_nominal_mm = object.optional<double>("bar_nominal_mm", length_rule).value_or(card.bar_nominal_mm);
  for (ObjectReader& part : object.required_objects("paper", {.min = 1, .max = 100}))
    card.paper.push_back(read_paper(part));
  for (ObjectReader& tag : object.required_objects("tags", {.min = 1, .max = tag_count}))
    card.tags.push_back(read_tag(tag, card.paper));
  object.finish();
  refuse_conflicts(object, card);
  return card;
}

}  // namespace ripplegauge
