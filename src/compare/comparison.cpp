// Each spot before is judged by what stands in its place after: nothing, less, more, or the other sign. An
// empty place counts as gone only where the photo would have shown what is left.
#include "compare/comparison.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "compare/photo_time.hpp"
#include "compare/relief_difference.hpp"
#include "ripplegauge/core/errors.hpp"

namespace ripplegauge {

namespace {

constexpr double nan_value = std::numeric_limits<double>::quiet_NaN();

/// All that one spot is judged by.
struct Scene {
  const Reading& before;
  const Relief& relief_before;
  const Reading& after;
  const Relief& relief_after;
  const CompareOptions& options;
  const Alignment& alignment;
  const PlaceEvidence& place;
  const Wording& words = options.words;

  const Dent& spot_before(int index) const { return before.dents[static_cast<std::size_t>(index)]; }
  const Dent& spot_after(int index) const { return after.dents[static_cast<std::size_t>(index)]; }
  PointMm centre_in_after(const Dent& spot) const {
    return alignment.motion.after_from_before({spot.x_mm, spot.y_mm});
  }
  double distance(const Dent& spot, const Dent& spot_after) const {
    const PointMm there = alignment.motion.before_from_after({spot_after.x_mm, spot_after.y_mm});
    return std::hypot(there.x_mm - spot.x_mm, there.y_mm - spot.y_mm);
  }
};

double sign_of(Kind kind) { return kind == Kind::low ? -1 : 1; }
double size_of(const Dent& dent) { return dent.depth_mm ? dent.depth_mm->value : 0; }

Quantity sum_with_errors(double value, double down_1, double down_2, double up_1, double up_2) {
  return {value, value - std::hypot(down_1, down_2), value + std::hypot(up_1, up_2)};
}

/// factor_a a + factor_b b of two independent quantities.
Quantity combined(double factor_a, const Quantity& a, double factor_b, const Quantity& b) {
  const auto down = [](double f, const Quantity& q) {
    return f > 0 ? f * (q.value - q.low) : f * (q.value - q.high);
  };
  const auto up = [](double f, const Quantity& q) {
    return f > 0 ? f * (q.high - q.value) : f * (q.low - q.value);
  };
  return sum_with_errors(factor_a * a.value + factor_b * b.value, down(factor_a, a), down(factor_b, b),
                         up(factor_a, a), up(factor_b, b));
}

/// The spot before to which each spot after belongs, or -1: the nearest in units of the tolerance. What lies
/// inside a spot belongs where that one does.
std::vector<int> homes_of(const Scene& scene) {
  const std::vector<Dent>& before = scene.before.dents;
  const std::vector<Dent>& after = scene.after.dents;
  std::vector<int> homes(after.size(), -1);
  if (scene.alignment.kind == AlignmentKind::none) return homes;
  const bool moved = scene.alignment.kind != AlignmentKind::same_card;
  const double share =
      moved ? scene.options.alignment.pattern_tolerance_share : scene.options.alignment.tolerance_share;
  for (std::size_t j = 0; j < after.size(); ++j) {
    double closest = 1;
    for (std::size_t i = 0; i < before.size(); ++i) {
      const double closeness =
          scene.distance(before[i], after[j]) /
          tolerance_mm(before[i], after[j], share, scene.options.alignment.least_tolerance_mm);
      if (closeness > closest) continue;
      closest = closeness;
      homes[j] = static_cast<int>(i);
    }
  }
  for (const SpotMatch& pair : scene.alignment.pairs)
    homes[static_cast<std::size_t>(pair.after)] = pair.before;
  for (std::size_t j = 0; j < after.size(); ++j) {
    const auto outer = after[j].inside_of;
    if (homes[j] < 0 && outer && *outer >= 0 && static_cast<std::size_t>(*outer) < after.size())
      homes[j] = homes[static_cast<std::size_t>(*outer)];
  }
  return homes;
}

std::string without_full_stop(std::string sentence) {
  if (sentence.ends_with('.')) sentence.pop_back();
  return sentence;
}

/// Nothing was found in the spot's place. That is "gone" only if the photo would have shown it.
void judge_empty_place(const Scene& scene, const Dent& spot, SpotChange& change) {
  for (const Dent& other : scene.after.dents) {
    if (scene.distance(spot, other) > 0.5 * other.diameter_mm.value) continue;
    change.outcome = Outcome::unclear;
    change.notes.push_back(scene.words("compare.note.neighbour"));
    return;
  }
  const EmptyPlace place =
      look_at_empty_place(spot, scene.centre_in_after(spot), scene.after, scene.relief_after,
                          {scene.options.seen_share, scene.options.visible_limit_mm}, scene.words);
  if (!place.shown) {
    change.outcome = Outcome::not_seen;
    change.notes.push_back(place.why_not);
    return;
  }
  change.outcome = Outcome::gone;
  change.nothing_above = place.smallest;
  if (!spot.depth_mm) return;
  const double limit = place.smallest ? place.smallest->depth_mm : nan_value;
  change.left_mm = Quantity{0, 0, limit};
  change.left_height_mm = Quantity{0, -limit, limit};
  change.percent_gone = Quantity{100, 100 * std::max(0.0, 1 - limit / spot.depth_mm->low), 100};
  if (std::isnan(limit)) change.percent_gone->low = nan_value;
  const Quantity rest = std::isnan(limit) ? Quantity{0, 0, 0} : *change.left_mm;
  change.moved_mm = combined(-sign_of(spot.kind), *spot.depth_mm, sign_of(spot.kind), rest);
}

bool nested(const Scene& scene, const SpotChange& change, Kind inner, Kind outer) {
  return std::any_of(change.after.begin(), change.after.end(), [&](int index) {
    const Dent& dent = scene.spot_after(index);
    return dent.kind == inner && dent.inside_of && scene.spot_after(*dent.inside_of).kind == outer;
  });
}

struct DepthVerdict {
  Outcome outcome;
  bool sure;
};

/// A wide interval (a wrong tape makes one) is no proof that nothing happened: where a change is likelier
/// than none and large enough to matter, that is the verdict, and it is marked as not sure.
DepthVerdict verdict_of_depths(const Quantity& before, const Quantity& left) {
  constexpr double least_change = 0.2;  // of the depth: less is no progress that anybody would call one
  constexpr double likely = 0.5;        // of the 95 % half-width: one standard deviation, five in six
  const Quantity less = combined(1, before, -1, left);
  if (left.low <= 0 && left.value < least_change * before.value) return {Outcome::gone, true};
  if (less.low > 0) return {Outcome::partly, true};
  if (less.high < 0) return {Outcome::worse, true};
  if (std::abs(less.value) < least_change * before.value) return {Outcome::unchanged, true};
  if (less.value > likely * (less.value - less.low)) return {Outcome::partly, false};
  if (-less.value > likely * (less.high - less.value)) return {Outcome::worse, false};
  return {Outcome::unchanged, true};
}

/// Tapping overshoots by less than the high was high; a pull makes no dent deeper. Where the photos' times do
/// not tell their order, that is what swapped photos look like.
void look_for_swapped_photos(const Scene& scene, const Dent& spot, const Dent& main, SpotChange& change) {
  const bool ordered =
      minutes_between(scene.before.photo.date_taken, scene.after.photo.date_taken).has_value();
  const bool tapped_too_far = change.outcome == Outcome::overdone && spot.kind == Kind::high &&
                              spot.depth_mm && main.depth_mm && main.depth_mm->low > spot.depth_mm->high;
  if (change.outcome == Outcome::worse && change.sure) {
    change.notes.push_back(
        scene.words(ordered ? "compare.note.no_repair" : "compare.note.no_repair_swapped"));
    change.swapped = true;
  } else if (tapped_too_far && !ordered) {
    change.outcome = Outcome::unclear;
    change.notes.push_back(scene.words("compare.note.tapped_swapped"));
    change.swapped = true;
  }
}

/// Something stands in the spot's place.
void judge_what_is_left(const Scene& scene, const Dent& spot, SpotChange& change) {
  const Dent& main = scene.spot_after(change.after.front());
  const auto has = [&](Kind kind) {
    return std::any_of(change.after.begin(), change.after.end(),
                       [&](int index) { return scene.spot_after(index).kind == kind; });
  };
  const Kind other_kind = spot.kind == Kind::low ? Kind::high : Kind::low;
  change.left_mm = main.depth_mm;
  if (main.depth_mm) change.left_height_mm = combined(sign_of(main.kind), *main.depth_mm, 0, {0, 0, 0});
  if (spot.kind == Kind::low)
    change.highs_made =
        static_cast<int>(std::count_if(change.after.begin(), change.after.end(), [&](int index) {
          return scene.spot_after(index).kind == Kind::high;
        }));

  if (spot.depth_mm && main.depth_mm) {
    change.percent_gone = percent_gone(*spot.depth_mm, *main.depth_mm);
    change.moved_mm = combined(sign_of(main.kind), *main.depth_mm, -sign_of(spot.kind), *spot.depth_mm);
  }
  if (spot.volume_mm3 && main.volume_mm3)
    change.volume_percent_gone = percent_gone(*spot.volume_mm3, *main.volume_mm3);

  if (nested(scene, change, Kind::low, Kind::high)) {
    change.outcome = Outcome::low_in_high;
  } else if (nested(scene, change, Kind::high, Kind::low)) {
    change.outcome = Outcome::high_in_low;
  } else if (!has(spot.kind)) {
    change.outcome = Outcome::overdone;
  } else if (spot.depth_mm && main.depth_mm) {
    const DepthVerdict verdict = verdict_of_depths(*spot.depth_mm, *main.depth_mm);
    change.outcome = verdict.outcome;
    change.sure = verdict.sure;
    if (!change.sure) change.notes.push_back(scene.words("compare.note.depths_uncertain"));
    if (change.outcome == Outcome::gone)
      change.nothing_above = VisibleDent{main.diameter_mm.value, main.depth_mm->high};
    if (has(other_kind))
      change.notes.push_back(
          scene.words(other_kind == Kind::high ? "compare.note.high_beside" : "compare.note.low_beside"));
  } else {
    change.outcome = Outcome::unclear;
    change.notes.push_back(scene.words("compare.note.no_depth"));
  }
  look_for_swapped_photos(scene, spot, main, change);
  if (went_past_flat(change.outcome) || change.outcome == Outcome::unclear) {
    change.percent_gone.reset();
    change.volume_percent_gone.reset();
  }
}

SpotChange judge(const Scene& scene, int index, const std::vector<int>& homes) {
  SpotChange change;
  change.before = index;
  const Dent& spot = scene.spot_before(index);
  change.kind = spot.kind;
  for (std::size_t j = 0; j < homes.size(); ++j)
    if (homes[j] == index) change.after.push_back(static_cast<int>(j));
  std::stable_sort(change.after.begin(), change.after.end(),
                   [&](int a, int b) { return size_of(scene.spot_after(a)) > size_of(scene.spot_after(b)); });

  if (scene.alignment.kind == AlignmentKind::none) {
    change.outcome = Outcome::unclear;
    change.notes.push_back(scene.words("compare.note.which_is_which"));
  } else if (scene.place.same == SamePlace::no) {
    change.outcome = change.after.empty() ? Outcome::not_seen : Outcome::unclear;
    change.notes.push_back(scene.place.reason);
  } else if (scene.alignment.kind == AlignmentKind::by_pattern && scene.alignment.ambiguous &&
             change.after.empty()) {
    change.outcome = Outcome::unclear;
    change.notes.push_back(scene.words("compare.note.place_unsure"));
  } else if (change.after.empty()) {
    judge_empty_place(scene, spot, change);
  } else {
    judge_what_is_left(scene, spot, change);
  }
  change.if_same_place = scene.place.same == SamePlace::likely;
  return change;
}

void collect_new_marks(const Scene& scene, const std::vector<int>& homes, Comparison& comparison) {
  if (scene.place.same == SamePlace::no) return;
  for (std::size_t j = 0; j < homes.size(); ++j) {
    if (homes[j] >= 0) continue;
    const Dent& dent = scene.after.dents[j];
    NewMark mark{static_cast<int>(j), true};
    const PointMm place = scene.alignment.motion.before_from_after({dent.x_mm, dent.y_mm});
    mark.place_was_seen = look_at_empty_place(dent, place, scene.before, scene.relief_before,
                                              {scene.options.seen_share, scene.options.visible_limit_mm})
                              .shown;
    if (mark.place_was_seen) (dent.kind == Kind::high ? comparison.highs_made : comparison.lows_made) += 1;
    comparison.new_marks.push_back(mark);
  }
}

/// Over all spots with known depths: the depths before and what is left of them are added up.
std::optional<Quantity> overall_percent_gone(const Scene& scene, const std::vector<SpotChange>& spots) {
  Quantity whole{0, 0, 0}, left{0, 0, 0};
  for (const SpotChange& spot : spots) {
    const auto& depth = scene.spot_before(spot.before).depth_mm;
    if (!depth || !spot.left_mm || !spot.percent_gone) continue;
    whole = combined(1, whole, 1, *depth);
    left = combined(1, left, 1, *spot.left_mm);
  }
  if (!(whole.value > 0)) return std::nullopt;
  return percent_gone(whole, left);
}

/// Spots that went past flat are counted for themselves: what stands on the other side is no share that is
/// gone.
void count_past_flat(const Scene& scene, Comparison& comparison) {
  for (const SpotChange& change : comparison.spots) {
    if (!went_past_flat(change.outcome)) continue;
    ++comparison.past_flat;
    const Kind kind = scene.spot_before(change.before).kind;
    for (const int index : change.after) {
      const Dent& dent = scene.spot_after(index);
      if (dent.kind != kind && dent.depth_mm)
        comparison.overshoot_mm = std::max(comparison.overshoot_mm.value_or(0), dent.depth_mm->value);
    }
  }
}

/// What the readings themselves warn of holds for whatever is made of them.
void take_warnings_over(const Reading& reading, const char* key, const Wording& words,
                        Comparison& comparison) {
  for (const Warning& warning : reading.warnings)
    comparison.notes.push_back(
        words(key, {{"text", without_full_stop(words.finding(warning.code, warning.message))}}));
}

void remark_on_the_pair(const Scene& scene, Comparison& comparison) {
  comparison.minutes = minutes_between(scene.before.photo.date_taken, scene.after.photo.date_taken);
  const double bar_1 = scene.before.setup.bar_length_mm, bar_2 = scene.after.setup.bar_length_mm;
  if (std::abs(bar_1 - bar_2) > 0.002 * bar_1)  // a ruler reads a bar of 100 mm to 0.2 mm
    comparison.notes.push_back(
        scene.words("compare.note.bars_differ",
                    {{"before", scene.words.number(bar_1, 1)}, {"after", scene.words.number(bar_2, 1)}}));
}

}  // namespace

bool went_past_flat(Outcome outcome) {
  return outcome == Outcome::overdone || outcome == Outcome::low_in_high || outcome == Outcome::high_in_low;
}

Quantity percent_gone(const Quantity& whole, const Quantity& left) {
  if (!(whole.value > 0) || std::isnan(left.value)) return {};
  const double ratio = left.value / whole.value;
  const double up =
      std::hypot((left.high - left.value) / whole.value, ratio * (whole.value - whole.low) / whole.value);
  const double down =
      std::hypot((left.value - left.low) / whole.value, ratio * (whole.high - whole.value) / whole.value);
  return {100 * (1 - ratio), 100 * (1 - ratio - up), std::min(100.0, 100 * (1 - ratio + down))};
}

Comparison compare_readings(const Reading& before, const Relief& relief_before, const Reading& after,
                            const Relief& relief_after, const CompareOptions& options) {
  if (before.status == Status::refused || after.status == Status::refused)
    throw UsageError("a photo that was refused cannot be compared");
  Comparison comparison;
  comparison.alignment = align(before.dents, after.dents, options.alignment, options.words);
  comparison.place = same_place(before, after, comparison.alignment, options.alignment.placement,
                                options.same_peel, options.words);
  const Scene scene{before,  relief_before,        after,           relief_after,
                    options, comparison.alignment, comparison.place};
  const std::vector<int> homes = homes_of(scene);
  for (std::size_t i = 0; i < before.dents.size(); ++i) {
    comparison.spots.push_back(judge(scene, static_cast<int>(i), homes));
    comparison.highs_made += comparison.spots.back().highs_made;
  }
  collect_new_marks(scene, homes, comparison);
  comparison.percent_gone = overall_percent_gone(scene, comparison.spots);
  count_past_flat(scene, comparison);
  remark_on_the_pair(scene, comparison);
  take_warnings_over(before, "compare.note.photo_before", options.words, comparison);
  take_warnings_over(after, "compare.note.photo_after", options.words, comparison);
  return comparison;
}

}  // namespace ripplegauge
