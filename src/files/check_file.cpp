// Checks of photos as JSON.
#include "files/check_file.hpp"

#include "json/json_write.hpp"
#include "json/reading_json.hpp"

namespace ripplegauge {
namespace {

constexpr int schema = 1;

OrderedJson to_json(const ShotFigures& f) {
  return {{"tags_on_card", f.tags_on_card},
          {"tag_side_px", json_number(f.tag_side_px)},
          {"edge_width_px", json_number(f.edge_width_px)},
          {"stripe_period_px", json_number(f.stripe_period_px)},
          {"stripe_direction_deg", json_number(f.stripe_direction_deg)},
          {"stripe_direction_on_panel_deg", json_number(f.stripe_direction_on_panel_deg)},
          {"stripe_pairs", json_number(f.stripe_pairs)},
          {"stripe_contrast_grey_values", json_number(f.stripe_contrast)},
          {"clipped_share", json_number(f.clipped_share)},
          {"surroundings_in_photo", json_number(f.surroundings_in_photo)},
          {"surroundings_striped", json_number(f.surroundings_striped)},
          {"visible_depth_mm", json_number(f.visible_depth_mm)}};
}

OrderedJson to_json(const SeenDisturbance& d) {
  return {{"x_mm", json_number(d.x_mm)},
          {"y_mm", json_number(d.y_mm)},
          {"size_mm", json_number(d.size_mm)},
          {"card_gap_mm", json_number(d.card_gap_mm)},
          {"measurable", d.measurable}};
}

OrderedJson to_json(const SecondShot& shot) {
  return {{"spot", shot.spot + 1},
          {"quantity", shot.quantity},
          {"limited_by", shot.limited_by},
          {"now_percent", json_number(shot.now_percent)},
          {"expected_percent", json_number(shot.expected_percent)},
          {"turn_board_deg", json_number(shot.turn_board_deg)},
          {"board_pitch_mm", json_number(shot.pitch_mm)},
          {"board_further_mm", json_number(shot.board_further_mm)},
          {"stripes_missing", shot.stripes_missing},
          {"words", shot.words}};
}

OrderedJson to_json(const PhotoCheck& check) {
  OrderedJson json = {{"schema", schema},
                      {"photo", without_control_characters(check.photo.name)},
                      {"status", check.refusal ? "refused" : "ready"}};
  if (check.refusal) json["refusal"] = json_of(*check.refusal);
  json["advice"] = OrderedJson::array();
  for (const ShotAdvice& a : check.advice)
    json["advice"].push_back({{"code", a.code}, {"message", a.message}});
  if (const auto second = second_shot_after(check)) json["second_photo"] = to_json(*second);
  json["disturbances"] = OrderedJson::array();
  for (const SeenDisturbance& d : check.disturbances) json["disturbances"].push_back(to_json(d));
  json["warnings"] = OrderedJson::array();
  for (const Warning& w : check.warnings) json["warnings"].push_back(json_of(w));
  json["photo_info"] = json_of(check.photo);
  json["setup"] = json_of(check.setup);
  json["figures"] = to_json(check.figures);
  return json;
}

}  // namespace

std::optional<SecondShot> second_shot_after(const PhotoCheck& check) {
  return second_shot(check.reading,
                     {check.figures.stripe_period_px, check.figures.stripe_direction_on_panel_deg});
}

std::string photo_checks_to_json(const std::vector<PhotoCheck>& checks) {
  if (checks.size() == 1) return json_text(to_json(checks.front()));
  OrderedJson array = OrderedJson::array();
  for (const PhotoCheck& check : checks) array.push_back(to_json(check));
  return json_text(array);
}

}  // namespace ripplegauge
