// The evidence for "the same place" and for "nothing is left there".
#include "ripplegauge/compare/place.hpp"

#include <algorithm>
#include <cmath>

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
         " per metre and is " + figure(after->value, 2);
}

/// What speaks against one panel under one card that lies where it lay; empty when nothing does.
std::string against(const Setup& before, const Setup& after, bool one_frame) {
  if (!before.card_name.empty() && !after.card_name.empty() && before.card_name != after.card_name)
    return "another card was used";
  if (!one_frame) return "";
  if (differs(before.crown_x_per_m, after.crown_x_per_m))
    return crown_words("long", before.crown_x_per_m, after.crown_x_per_m);
  if (differs(before.crown_y_per_m, after.crown_y_per_m))
    return crown_words("short", before.crown_y_per_m, after.crown_y_per_m);
  return "";
}

/// "the panel's crown agrees (0.11 by 0.40 per metre, 0.12 by 0.41 before)".
std::string in_favour(const Setup& before, const Setup& after) {
  const auto known = [](const Setup& setup) { return setup.crown_x_per_m && setup.crown_y_per_m; };
  const auto crown = [](const Setup& setup) {
    return figure(setup.crown_x_per_m->value, 2) + " by " + figure(setup.crown_y_per_m->value, 2);
  };
  if (!known(before) || !known(after)) return "nothing speaks against it";
  return "the panel's crown is about the same (" + crown(after) + " per metre, " + crown(before) + " before)";
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
  const bool one_frame = alignment.kind == AlignmentKind::same_card;
  const std::string objection = against(before.setup, after.setup, one_frame);
  if (!objection.empty()) return {SamePlace::no, objection + ": is this the same panel?"};
  if (alignment.kind == AlignmentKind::none) return {SamePlace::no, alignment.sureness};
  if (told == CardPlacement::same) return {SamePlace::proven, "you said that the card was not moved"};
  if (!alignment.pairs.empty() && !alignment.ambiguous) return {SamePlace::proven, alignment.sureness};
  if (!alignment.pairs.empty()) return {SamePlace::likely, alignment.sureness};
  return {SamePlace::likely, in_favour(before.setup, after.setup) +
                                 ", but no spot is left to prove that the card lies where it lay"};
}

EmptyPlace look_at_empty_place(const Dent& spot, PointMm place, const Reading& after,
                               const Relief& relief_after, const PlaceOptions& options) {
  EmptyPlace result;
  const double width_mm = spot.diameter_mm.value;
  switch (shown_at(spot, place, after, relief_after, options.seen_share)) {
    case Seen::no:
      result.why_not =
          "no stripes that could be followed cover this place: take it again, stripes all round it";
      return result;
    case Seen::unknown:
      result.why_not = "the reading does not tell which part of the panel it judged: measure the photo again";
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
        "a spot as faint as this one would not show in it: take it again, nearer or with finer stripes";
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
