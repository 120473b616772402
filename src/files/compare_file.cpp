// A comparison as JSON and as a row of the training log.
#include "files/compare_file.hpp"

#include <algorithm>

#include "compare/photo_time.hpp"
#include "compare/words.hpp"
#include "json/json_write.hpp"

namespace ripplegauge {

namespace {

OrderedJson json_of(const std::optional<Quantity>& quantity) { return json_quantity(quantity); }

OrderedJson json_of(const Dent& dent, int index) {
  OrderedJson json;
  json["index"] = index;
  json["kind"] = to_string(dent.kind);
  json["x_mm"] = json_number(dent.x_mm);
  json["y_mm"] = json_number(dent.y_mm);
  json["depth_mm"] = json_of(dent.depth_mm);
  json["diameter_mm"] = json_of(dent.diameter_mm);
  json["volume_mm3"] = json_of(dent.volume_mm3);
  if (dent.inside_of) json["inside_of"] = *dent.inside_of;
  return json;
}

OrderedJson json_of(const Alignment& alignment) {
  static const char* const kinds[] = {"same_card", "by_pattern", "single_spot", "none"};
  OrderedJson json;
  json["kind"] = kinds[static_cast<int>(alignment.kind)];
  json["turn_deg"] = json_number(alignment.motion.turn_deg);
  json["dx_mm"] = json_number(alignment.motion.dx_mm);
  json["dy_mm"] = json_number(alignment.motion.dy_mm);
  json["matched_spots"] = alignment.pairs.size();
  json["rms_mm"] = json_number(alignment.rms_mm);
  json["ambiguous"] = alignment.ambiguous;
  json["sureness"] = alignment.sureness;
  return json;
}

OrderedJson json_of(const SpotChange& change, const Reading& before, const Reading& after,
                    const Wording& words) {
  OrderedJson json;
  json["outcome"] = word(change.outcome);
  json["before"] = json_of(before.dents[static_cast<std::size_t>(change.before)], change.before);
  json["after"] = OrderedJson::array();
  for (const int index : change.after)
    json["after"].push_back(json_of(after.dents[static_cast<std::size_t>(index)], index));
  json["percent_gone"] = json_of(change.percent_gone);
  json["volume_percent_gone"] = json_of(change.volume_percent_gone);
  json["sure"] = change.sure;
  json["if_same_place"] = change.if_same_place;
  json["left_mm"] = json_of(change.left_mm);
  json["left_height_mm"] = json_of(change.left_height_mm);
  json["moved_mm"] = json_of(change.moved_mm);
  if (change.nothing_above)
    json["nothing_above"] = {{"width_mm", json_number(change.nothing_above->width_mm)},
                             {"depth_mm", json_number(change.nothing_above->depth_mm)}};
  json["highs_made"] = change.highs_made;
  json["words"] = spot_words(change, before, after, words);
  json["notes"] = change.notes;
  return json;
}

OrderedJson json_of(const Comparison& comparison, const Reading& before, const Reading& after,
                    const Wording& words) {
  OrderedJson json;
  json["summary"] = summary_words(comparison, words);
  json["percent_gone"] = json_of(comparison.percent_gone);
  json["past_flat"] = comparison.past_flat;
  json["overshoot_mm"] = json_number(comparison.overshoot_mm);
  json["highs_made"] = comparison.highs_made;
  json["lows_made"] = comparison.lows_made;
  json["minutes"] = json_number(comparison.minutes);
  json["alignment"] = json_of(comparison.alignment);
  json["same_place"] = word(comparison.place.same);
  json["same_place_reason"] = comparison.place.reason;
  json["spots"] = OrderedJson::array();
  for (const SpotChange& change : comparison.spots)
    json["spots"].push_back(json_of(change, before, after, words));
  json["new_marks"] = OrderedJson::array();
  for (const NewMark& mark : comparison.new_marks) {
    OrderedJson one = json_of(after.dents[static_cast<std::size_t>(mark.after)], mark.after);
    one["place_was_seen_before"] = mark.place_was_seen;
    json["new_marks"].push_back(std::move(one));
  }
  json["notes"] = comparison.notes;
  return json;
}

OrderedJson json_of(const SpotTrack& track) {
  OrderedJson json;
  json["spot"] = track.spot;
  json["points"] = OrderedJson::array();
  for (const TrackPoint& point : track.points) {
    OrderedJson one;
    one["outcome"] = word(point.outcome);
    one["height_mm"] = json_of(point.height_mm);
    one["diameter_mm"] = json_of(point.diameter_mm);
    one["volume_mm3"] = json_of(point.volume_mm3);
    one["percent_gone"] = json_of(point.percent_gone);
    one["moved_mm"] = json_of(point.moved_mm);
    json["points"].push_back(std::move(one));
  }
  return json;
}

/// Tells all photos of a school apart.
constexpr std::size_t fingerprint_digits = 16;

/// With a T, so that no spreadsheet takes it for a date of its own and writes it back in another form.
std::string time_for_log(std::string date_taken) {
  if (!photo_time(date_taken)) return "";
  date_taken[4] = date_taken[7] = '-';
  date_taken[10] = 'T';
  return date_taken;
}

}  // namespace

std::string comparison_to_json(const CompareInput& input) {
  OrderedJson json;
  json["schema"] = 1;
  json["photos"] = OrderedJson::array();
  for (const SeriesReading& shot : input.shots) {
    OrderedJson photo;
    photo["photo"] = shot.reading.photo.name;
    photo["date_taken"] = shot.reading.photo.date_taken;
    photo["sha256"] = shot.reading.photo.sha256;
    photo["warnings"] = OrderedJson::array();
    for (const Warning& warning : shot.reading.warnings)
      photo["warnings"].push_back({{"code", warning.code}, {"message", warning.message}});
    json["photos"].push_back(std::move(photo));
  }
  json["comparison"] = json_of(input.comparison(), input.first().reading, input.last().reading, input.words);
  if (input.shots.size() > 2) {
    json["series"] = OrderedJson::array();
    for (const SpotTrack& track : input.series.tracks) json["series"].push_back(json_of(track));
  }
  return json_text(json);
}

std::string folder_comparisons_to_json(const FolderComparisons& found) {
  OrderedJson comparisons = OrderedJson::array(), refused = OrderedJson::array();
  for (const auto& [name, text] : found.comparisons) {
    OrderedJson one{{"name", name}};
    one.update(OrderedJson::parse(text));
    comparisons.push_back(std::move(one));
  }
  for (const auto& [name, why] : found.refused) refused.push_back({{"name", name}, {"reason", why}});
  return json_text({{"schema", 1},
                    {"comparisons", std::move(comparisons)},
                    {"refused", std::move(refused)},
                    {"left_over", found.left_over}});
}

TrainingAttempt training_attempt(const CompareInput& input, const std::string& who,
                                 const std::string& exercise, const std::string& logged_at) {
  const Comparison& comparison = input.comparison();
  TrainingAttempt attempt;
  attempt.logged_at = logged_at;
  attempt.who = who;
  attempt.exercise = exercise;
  attempt.before = input.first().reading.photo.name;
  attempt.after = input.last().reading.photo.name;
  attempt.spots = static_cast<int>(comparison.spots.size());
  attempt.highs_made = comparison.highs_made;
  attempt.new_lows = comparison.lows_made;
  attempt.past_flat = comparison.past_flat;
  attempt.overshoot_mm = comparison.overshoot_mm;
  const PhotoInfo &before = input.first().reading.photo, &after = input.last().reading.photo;
  attempt.taken_before = time_for_log(before.date_taken);
  attempt.taken_after = time_for_log(after.date_taken);
  attempt.fingerprint_before = before.sha256.substr(0, fingerprint_digits);
  attempt.fingerprint_after = after.sha256.substr(0, fingerprint_digits);
  for (const Reading* reading : {&input.first().reading, &input.last().reading})
    for (const Warning& warning : reading->warnings)
      if (attempt.warnings.find(warning.code) == std::string::npos)
        attempt.warnings += (attempt.warnings.empty() ? "" : " ") + warning.code;
  attempt.minutes = comparison.minutes;
  attempt.same_place = word(comparison.place.same);
  if (comparison.percent_gone) attempt.percent_gone = comparison.percent_gone->value;

  const auto depth_of = [&](const SpotChange& change) {
    const auto& depth = input.first().reading.dents[static_cast<std::size_t>(change.before)].depth_mm;
    return depth ? depth->value : 0;
  };
  const auto deepest =
      std::max_element(comparison.spots.begin(), comparison.spots.end(),
                       [&](const SpotChange& a, const SpotChange& b) { return depth_of(a) < depth_of(b); });
  if (deepest == comparison.spots.end()) return attempt;
  attempt.outcome = word(deepest->outcome);
  if (deepest->nothing_above) attempt.visible_limit_mm = deepest->nothing_above->depth_mm;
  if (deepest->left_height_mm) attempt.left_height_mm = deepest->left_height_mm->value;
  if (depth_of(*deepest) > 0) attempt.depth_before_mm = depth_of(*deepest);
  if (deepest->left_mm) attempt.depth_left_mm = deepest->left_mm->value;
  return attempt;
}

}  // namespace ripplegauge
