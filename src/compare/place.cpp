// The evidence for "the same place" and for "nothing is left there".
#include "ripplegauge/compare/place.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "ripplegauge/compare/photo_time.hpp"
#include "ripplegauge/compare/relief_difference.hpp"
#include "ripplegauge/compare/words.hpp"
#include "ripplegauge/core/visible_dent.hpp"
#include "ripplegauge/words/text.hpp"

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

std::string crown_words(const char* along, const std::optional<Quantity>& before,
                        const std::optional<Quantity>& after) {
  return std::string("the panel's crown along the card's ") + along + " arm was " + figure(before->value, 2) +
         " per metre and is " + figure(after->value, 2) + ": another panel, or another place on it";
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
std::string against_order(const Reading& before, const Reading& after) {
  const auto minutes = minutes_between(before.photo.date_taken, after.photo.date_taken);
  if (minutes && *minutes < 0)
    return "the photo after was taken before the photo before: give the earlier one first";
  if (!minutes && before.dents.empty() && !after.dents.empty())
    return "nothing stood there before and something does now: the two may be swapped";
  return "";
}

/// Lines that cross the panel at another angle, or elsewhere: twice what the same line is found again to.
std::string against_line(const Setup& before, const Setup& after) {
  constexpr double least_deg = 5, least_mm = 5;
  if (!before.body_line || !after.body_line) return "";
  const BodyLine &one = *before.body_line, &other = *after.body_line;
  const double turn_deg = std::remainder(one.angle_deg - other.angle_deg, 180),
               along = other.angle_deg * std::numbers::pi / 180,
               apart_mm = std::abs((one.x_mm - other.x_mm) * std::sin(along) -
                                   (one.y_mm - other.y_mm) * std::cos(along));
  if (std::abs(turn_deg) < least_deg && apart_mm < least_mm) return "";
  return "the body line lies elsewhere: " + figure(apart_mm, 0) + " mm away, turned by " +
         figure(std::abs(turn_deg), 0) + " degrees";
}

/// What speaks against one panel under one card that lies where it lay; empty when nothing does.
std::string against_panel(const Setup& before, const Setup& after) {
  if (differs(before.crown_x_per_m, after.crown_x_per_m))
    return crown_words("long", before.crown_x_per_m, after.crown_x_per_m);
  if (differs(before.crown_y_per_m, after.crown_y_per_m))
    return crown_words("short", before.crown_y_per_m, after.crown_y_per_m);
  return against_line(before, after);
}

std::string against(const Reading& before, const Reading& after, const Alignment& alignment) {
  if (same_photo(before, after)) return "both are the same photo";
  if (const std::string order = against_order(before, after); !order.empty()) return order;
  if (!before.setup.card_name.empty() && !after.setup.card_name.empty() &&
      before.setup.card_name != after.setup.card_name)
    return "another card was used";
  if (alignment.kind == AlignmentKind::same_card) return against_panel(before.setup, after.setup);
  return "";
}

/// "the panel's crown is about the same (0.12 by 0.41 per metre, 0.11 by 0.40 before)".
std::string in_favour(const Setup& before, const Setup& after) {
  const auto known = [](const Setup& setup) { return setup.crown_x_per_m && setup.crown_y_per_m; };
  const auto crown = [](const Setup& setup) {
    return figure(setup.crown_x_per_m->value, 2) + " by " + figure(setup.crown_y_per_m->value, 2);
  };
  std::string text = known(before) && known(after) ? "the panel's crown is about the same (" + crown(after) +
                                                         " per metre, " + crown(before) + " before)"
                                                   : "nothing speaks against it";
  if (before.body_line && after.body_line) text += ", and so is its body line";
  return text;
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
std::string against_card(const Setup& before, const Setup& after) {
  const double one_mm = before.bar_length_mm, other_mm = after.bar_length_mm;
  if (std::abs(one_mm - other_mm) <= 0.003 * one_mm) return "";
  return "the card's bar was given as " + figure(one_mm, 1) + " mm before and as " + figure(other_mm, 1) +
         " mm after: another card, or one of them is wrong";
}

/// Both readings in one frame, and nothing against it.
PlaceEvidence under_one_card(const Reading& before, const Reading& after, const Alignment& alignment) {
  constexpr double small_chance = 0.01;
  const Refound found = refound(before, after, alignment.pairs);
  if (const std::string objection = against_card(before.setup, after.setup);
      found.near == 0 && !objection.empty())
    return {SamePlace::no, objection};
  if (alignment.pairs.empty())
    return {SamePlace::likely, in_favour(before.setup, after.setup) +
                                   ", but no spot is left to prove that the card lies where it lay"};
  if (found.near > 0 && chance_of(found, before.dents.size(), after.dents.size()) < small_chance)
    return {SamePlace::proven, alignment.sureness};
  if (found.near > 0)
    return {SamePlace::likely, alignment.sureness + "; among so many spots that may be chance"};
  return {SamePlace::likely, "the nearest spot stands " + figure(found.least_mm, 1) +
                                 " mm from where one stood, and under a card that was left alone it is "
                                 "found within " +
                                 figure(left_alone_mm, 0) +
                                 " mm: the card was shifted, or it is another dent"};
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
                         CardPlacement told) {
  if (const std::string objection = against(before, after, alignment); !objection.empty())
    return {SamePlace::no, objection};
  if (alignment.kind == AlignmentKind::none) return {SamePlace::no, alignment.sureness, true};
  if (alignment.kind != AlignmentKind::same_card)
    return {alignment.ambiguous ? SamePlace::likely : SamePlace::proven, alignment.sureness};
  if (told == CardPlacement::same) return {SamePlace::proven, "you said that the card was not moved"};
  PlaceEvidence evidence = under_one_card(before, after, alignment);
  evidence.card_decides = evidence.same == SamePlace::likely;
  return evidence;
}

EmptyPlace look_at_empty_place(const Dent& spot, PointMm place, const Reading& after,
                               const Relief& relief_after, const PlaceOptions& options) {
  EmptyPlace result;
  const double width_mm = spot.diameter_mm.value;
  switch (shown_at(spot, place, after, relief_after, options.seen_share)) {
    case Seen::no:
      result.why_not =
          "no stripes that could be followed cover this place: photo again, stripes all round it";
      return result;
    case Seen::unknown:
      result.why_not = "the reading does not tell which part of the panel it saw: measure the photo again";
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
    result.why_not =
        "a spot as faint as this one would not show in it: photo again, nearer or with finer stripes";
    return result;
  }
  result.shown = true;
  return result;
}

std::string nothing_above_words(const std::optional<VisibleDent>& smallest, Kind kind) {
  if (!smallest) return "nothing that the photo shows";
  return std::string("nothing ") + (kind == Kind::low ? "deeper" : "higher") + " than " +
         length_words(smallest->depth_mm) + " at " + figure(smallest->width_mm, 0) + " mm wide";
}

}  // namespace ripplegauge
