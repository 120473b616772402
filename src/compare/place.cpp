// The evidence for "the same place" and for "nothing is left there".
#include "compare/place.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "compare/photo_time.hpp"
#include "compare/relief_difference.hpp"
#include "compare/words.hpp"
#include "core/line_axes.hpp"
#include "core/visible_dent.hpp"

namespace ripplegauge {
namespace {

/// Another panel, not another look at the same one: apart by twice the 95 % interval of the difference (4
/// standard deviations), and by no less than what a lens that is not calibrated may bend flat metal by.
/// Ray-traced pairs of one panel differ by 0.03 per metre at most.
bool differs(const std::optional<Quantity>& one, const std::optional<Quantity>& other) {
  constexpr double least_per_m = 0.15, intervals = 2;
  if (!one || !other) return false;
  const double apart = std::abs(one->value - other->value);
  return apart > std::max(least_per_m, intervals * std::hypot(one->half_width(), other->half_width()));
}

std::string crown_words(const Wording& words, const char* key, const std::optional<Quantity>& before,
                        const std::optional<Quantity>& after) {
  return words(key, {{"before", words.number(before->value, 2)}, {"after", words.number(after->value, 2)}});
}

/// Two photos never agree in all of these to the last digit.
bool same_photo(const Reading& before, const Reading& after) {
  if (!before.photo.sha256.empty() && !after.photo.sha256.empty())
    return before.photo.sha256 == after.photo.sha256;
  const Setup &one = before.setup, &other = after.setup;
  if (!one.camera_distance_mm || !other.camera_distance_mm || !(one.pixels_per_mm > 0)) return false;
  const auto same_spot = [](const Dent& a, const Dent& b) { return a.x_mm == b.x_mm && a.y_mm == b.y_mm; };
  return one.pixels_per_mm == other.pixels_per_mm &&
         one.camera_distance_mm->value == other.camera_distance_mm->value &&
         std::equal(before.dents.begin(), before.dents.end(), after.dents.begin(), after.dents.end(),
                    same_spot);
}

/// What the photos' times, or a dent where there was none, say of their order; empty when all is well.
std::string against_order(const Reading& before, const Reading& after, const Wording& words) {
  const auto minutes = minutes_between(before.photo.date_taken, after.photo.date_taken);
  if (minutes && *minutes < 0) return words("compare.place.swapped");
  if (!minutes && before.dents.empty() && !after.dents.empty()) return words("compare.place.maybe_swapped");
  return "";
}

/// How far apart two lines lie, and how they are turned against each other.
struct LineDifference {
  double apart_mm, turned_deg;
};
LineDifference difference_of(const BodyLine& one, const BodyLine& other) {
  return {LineAxes(other).off_mm(one.x_mm, one.y_mm),
          std::abs(std::remainder(one.angle_deg - other.angle_deg, 180))};
}

/// Lines that cross the panel at another angle, or elsewhere: twice what the same line is found again to. Of
/// several in view one may be seen in one photo alone, but not all.
std::string against_line(const Setup& before, const Setup& after, const Wording& words) {
  constexpr double least_deg = 5, least_mm = 5;
  if (!before.body_line || !after.body_line) return "";
  for (const BodyLine& one : before.body_lines())
    for (const BodyLine& other : after.body_lines()) {
      const LineDifference d = difference_of(one, other);
      if (d.turned_deg < least_deg && d.apart_mm < least_mm) return "";
    }
  const LineDifference d = difference_of(*before.body_line, *after.body_line);
  return words("compare.place.line_elsewhere",
               {{"mm", words.number(d.apart_mm, 0)}, {"degrees", words.number(d.turned_deg, 0)}});
}

/// What speaks against one panel under one card that lies where it lay; empty when nothing does.
std::string against_panel(const Setup& before, const Setup& after, const Wording& words) {
  if (differs(before.crown_x_per_m, after.crown_x_per_m))
    return crown_words(words, "compare.place.crown_long", before.crown_x_per_m, after.crown_x_per_m);
  if (differs(before.crown_y_per_m, after.crown_y_per_m))
    return crown_words(words, "compare.place.crown_short", before.crown_y_per_m, after.crown_y_per_m);
  return against_line(before, after, words);
}

std::string against(const Reading& before, const Reading& after, const Alignment& alignment,
                    const Wording& words) {
  if (same_photo(before, after)) return words("compare.place.same_photo");
  if (const std::string order = against_order(before, after, words); !order.empty()) return order;
  if (!before.setup.card_name.empty() && !after.setup.card_name.empty() &&
      before.setup.card_name != after.setup.card_name)
    return words("compare.place.other_card");
  if (alignment.kind == AlignmentKind::same_card) return against_panel(before.setup, after.setup, words);
  return "";
}

/// "the panel's crown is about the same (0.12 by 0.41 per metre, 0.11 by 0.40 before)".
std::string in_favour(const Setup& before, const Setup& after, const Wording& words) {
  const auto known = [](const Setup& setup) { return setup.crown_x_per_m && setup.crown_y_per_m; };
  std::string text = words("compare.place.not_against");
  if (known(before) && known(after)) {
    const auto crown = [&](const std::optional<Quantity>& per_m) { return words.number(per_m->value, 2); };
    text = words("compare.place.crown_agrees", {{"x_after", crown(after.crown_x_per_m)},
                                                {"y_after", crown(after.crown_y_per_m)},
                                                {"x_before", crown(before.crown_x_per_m)},
                                                {"y_before", crown(before.crown_y_per_m)}});
  }
  return before.body_line && after.body_line ? words("compare.place.line_too", {{"in_favour", text}}) : text;
}

/// Within this a spot is found again where the card was left alone (ray-traced pairs: 0.1 mm). Another dent,
/// to which a card was laid in the same manner, stands some millimetres off. Our own bound.
constexpr double left_alone_mm = 1;

struct Refound {
  std::size_t near = 0;  ///< spots within left_alone_mm of one before
  double least_mm = 0;   ///< of all pairs
};

Refound refound(const Reading& before, const Reading& after, const std::vector<SpotMatch>& pairs) {
  Refound result{0, 1e9};
  for (const SpotMatch& pair : pairs) {
    const Dent &one = before.dents[static_cast<std::size_t>(pair.before)],
               &other = after.dents[static_cast<std::size_t>(pair.after)];
    const double apart_mm = std::hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm);
    result.near += apart_mm <= left_alone_mm;
    result.least_mm = std::min(result.least_mm, apart_mm);
  }
  return result;
}

/// How likely so many spots stand so near to others by chance: among many spots some always do. Poisson, all
/// spots scattered over what the card surrounds.
double chance_of(const Refound& found, std::size_t before, std::size_t after) {
  constexpr double area_mm2 = 100 * 80;
  const double expected =
      static_cast<double>(before * after) * std::numbers::pi * left_alone_mm * left_alone_mm / area_mm2;
  double fewer = 0, term = std::exp(-expected);
  for (std::size_t k = 0; k < found.near; ++k) {
    fewer += term;
    term *= expected / static_cast<double>(k + 1);
  }
  return 1 - fewer;
}

/// A printed bar is read to 0.2 mm with a rule; two that differ by more are two cards.
std::string against_card(const Setup& before, const Setup& after, const Wording& words) {
  const double one_mm = before.bar_length_mm, other_mm = after.bar_length_mm;
  if (std::abs(one_mm - other_mm) <= 0.003 * one_mm) return "";
  return words("compare.place.bars_differ",
               {{"before", words.number(one_mm, 1)}, {"after", words.number(other_mm, 1)}});
}

/// Both readings in one frame, and nothing against it.
PlaceEvidence under_one_card(const Reading& before, const Reading& after, const Alignment& alignment,
                             const Wording& words) {
  constexpr double small_chance = 0.01;
  const Refound found = refound(before, after, alignment.pairs);
  if (const std::string objection = against_card(before.setup, after.setup, words);
      found.near == 0 && !objection.empty())
    return {SamePlace::no, objection};
  if (alignment.pairs.empty())
    return {SamePlace::likely, words("compare.place.no_spot_left",
                                     {{"in_favour", in_favour(before.setup, after.setup, words)}})};
  if (found.near > 0 && chance_of(found, before.dents.size(), after.dents.size()) < small_chance)
    return {SamePlace::proven, alignment.sureness};
  if (found.near > 0)
    return {SamePlace::likely, words("compare.place.may_be_chance", {{"in_favour", alignment.sureness}})};
  return {SamePlace::likely,
          words("compare.place.shifted",
                {{"mm", words.number(found.least_mm, 1)}, {"left_alone", words.number(left_alone_mm, 0)}})};
}

/// Whether stripes cover the place: by the judged area, else by the relief.
Seen shown_at(const Dent& spot, PointMm place, const Reading& after, const Relief& relief, double share) {
  const auto& judged = after.setup.judged;
  if (judged && judged->cell_mm > 0)
    return judged->covered_share(place.x_mm, place.y_mm, spot.diameter_mm.value) >= share ? Seen::yes
                                                                                          : Seen::no;
  return seen(relief, place, spot, share);
}

}  // namespace

PlaceEvidence same_place(const Reading& before, const Reading& after, const Alignment& alignment,
                         CardPlacement told, const AskPeel& same_peel, const Wording& words) {
  if (const std::string objection = against(before, after, alignment, words); !objection.empty())
    return {SamePlace::no, objection};
  if (alignment.kind == AlignmentKind::none) return {SamePlace::no, alignment.sureness, true};
  if (alignment.kind != AlignmentKind::same_card)
    return {alignment.ambiguous ? SamePlace::likely : SamePlace::proven, alignment.sureness};
  if (told == CardPlacement::same) return {SamePlace::proven, words("compare.place.told")};
  PlaceEvidence evidence = under_one_card(before, after, alignment, words);
  if (evidence.same == SamePlace::likely && same_peel && same_peel(before, after))
    return {SamePlace::proven, words("compare.place.same_peel")};
  evidence.card_decides = evidence.same == SamePlace::likely;
  return evidence;
}

EmptyPlace look_at_empty_place(const Dent& spot, PointMm place, const Reading& after,
                               const Relief& relief_after, const PlaceOptions& options,
                               const Wording& words) {
  EmptyPlace result;
  const double width_mm = spot.diameter_mm.value;
  switch (shown_at(spot, place, after, relief_after, options.seen_share)) {
    case Seen::no:
      result.why_not = words("compare.place.no_stripes");
      return result;
    case Seen::unknown:
      result.why_not = words("compare.place.not_judged");
      return result;
    case Seen::yes:
      break;
  }
  if (options.visible_limit_mm) {
    result.smallest = VisibleDent{width_mm, *options.visible_limit_mm};
  } else {
    result.smallest = smallest_visible(after.setup, width_mm);
  }
  if (!result.smallest) {
    const auto scatter = scatter_mm(relief_after, place, std::max(1.5 * width_mm, 10.0), after.dents);
    // JCGM 100:2008: three standard deviations, 99.7 % of a normal distribution
    if (scatter) result.smallest = VisibleDent{width_mm, 3 * *scatter};
  }
  if (result.smallest && spot.depth_mm && result.smallest->depth_mm >= spot.depth_mm->value) {
    result.why_not = words("compare.place.too_faint");
    return result;
  }
  result.shown = true;
  return result;
}

std::string nothing_above_words(const std::optional<VisibleDent>& smallest, Kind kind, const Wording& words) {
  if (!smallest) return words("compare.nothing_shown");
  return words(
      kind == Kind::low ? "compare.nothing_deeper" : "compare.nothing_higher",
      {{"depth", length_words(smallest->depth_mm, words)}, {"width", words.number(smallest->width_mm, 0)}});
}

}  // namespace ripplegauge
