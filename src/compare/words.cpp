// Outcomes, sizes and shares as sentences; the same for the terminal and for pages.
#include "ripplegauge/compare/words.hpp"

#include <algorithm>
#include <cmath>

#include "ripplegauge/words/text.hpp"

namespace ripplegauge {

namespace {

int decimals_for(double mm) { return std::abs(mm) < 0.1 ? 3 : std::abs(mm) < 10 ? 2 : 1; }

std::string size_words(const Dent& dent) {
  return std::string("a ") + to_string(dent.kind) + " of " +
         (dent.depth_mm ? length_words(*dent.depth_mm) : "unknown depth") + ", " +
         length_words(dent.diameter_mm.value) + " wide";
}

std::string left_words(const SpotChange& change, const Reading& after) {
  const auto dent = [&](int index) -> const Dent& { return after.dents[static_cast<std::size_t>(index)]; };
  const int main = change.after.front();
  std::string text = "What is left is " + size_words(dent(main));
  for (const int index : change.after)
    if (dent(index).inside_of == main) text += ", and inside it " + size_words(dent(index));
  text += ".";
  if (change.percent_gone && change.outcome == Outcome::partly)
    text += " " + percent_words(*change.percent_gone) + " of its depth is gone.";
  return text;
}

constexpr const char* condition = ", if this is the same place";

std::string one_spot_words(const SpotChange& change) {
  switch (change.outcome) {
    case Outcome::gone:
      return std::string("The spot is gone") + (change.if_same_place ? condition : "") + ": " +
             nothing_above_words(change.nothing_above, change.kind) + " is left there";
    case Outcome::partly:
      if (!change.sure) return "The spot is probably partly gone";
      return change.percent_gone ? percent_words(*change.percent_gone) + " of the spot's depth is gone"
                                 : "The spot is partly gone";
    case Outcome::overdone:
    case Outcome::low_in_high:
    case Outcome::high_in_low:
      return "The spot went past flat" +
             (change.left_height_mm ? ", " + height_words(*change.left_height_mm) + " now" : std::string());
    case Outcome::unchanged:
      return "The spot has not changed by more than can be measured";
    case Outcome::worse:
      return change.sure ? "The spot is worse than before" : "The spot is probably worse than before";
    case Outcome::not_seen:
      return "Not shown by this photo: the spot's place, or a spot as faint as it was";
    case Outcome::unclear:
      return "What became of the spot cannot be told";
  }
  return "What became of the spot cannot be told";
}

std::string with_bounds(const Quantity& quantity, int decimals, const char* unit) {
  std::string text = figure(quantity.value, decimals) + unit;
  if (std::isfinite(quantity.low) && std::isfinite(quantity.high))
    text += " (" + figure(quantity.low, decimals) + " to " + figure(quantity.high, decimals) + ")";
  return text;
}

}  // namespace

std::string rest_words(const SpotChange& change, Kind kind) {
  std::string text = nothing_above_words(change.nothing_above, kind);
  text[0] = 'N';
  return text + " is left there" +
         (change.nothing_above ? "." : "; how small a rest would still show is not known.");
}

std::string length_words(double mm) {
  return std::isnan(mm) ? "not known" : figure(mm, decimals_for(mm)) + " mm";
}

std::string length_words(const Quantity& mm) {
  return std::isnan(mm.value) ? "not known" : with_bounds(mm, decimals_for(mm.value), " mm");
}

std::string height_words(const Quantity& height_mm) {
  if (std::isnan(height_mm.value)) return "not known";
  return (height_mm.value > 0 ? "+" : "") + length_words(height_mm);
}

std::string percent_words(const Quantity& percent) {
  return std::isnan(percent.value) ? "not known" : with_bounds(percent, 0, " %");
}

std::string outcome_words(Outcome outcome, Kind kind_before) {
  const bool low = kind_before == Kind::low;
  switch (outcome) {
    case Outcome::gone:
      return "gone";
    case Outcome::partly:
      return low ? "partly pulled" : "partly knocked down";
    case Outcome::overdone:
      return low ? "over-pulled: a high stands here now" : "knocked down too far: a low stands here now";
    case Outcome::low_in_high:
      return "over-pulled: a high with a low left inside it";
    case Outcome::high_in_low:
      return "a low with a high inside it";
    case Outcome::unchanged:
      return "no change that can be measured";
    case Outcome::worse:
      return low ? "deeper than before" : "higher than before";
    case Outcome::not_seen:
      return "not shown by this photo";
    case Outcome::unclear:
      return "cannot be told";
  }
  return "cannot be told";
}

std::string outcome_words(const SpotChange& change) {
  const bool told = change.outcome != Outcome::not_seen && change.outcome != Outcome::unclear;
  return (change.sure ? "" : "probably ") + outcome_words(change.outcome, change.kind) +
         (told && change.if_same_place ? condition : "");
}

std::string pair_words(const PlaceEvidence& place) {
  return place.same == SamePlace::no ? "Nothing can be said of these two photos: " + place.reason + "." : "";
}

std::string spot_words(const SpotChange& change, const Reading& before, const Reading& after) {
  const Dent& spot = before.dents[static_cast<std::size_t>(change.before)];
  std::string text = "Spot " + std::to_string(change.before + 1) + ", " + size_words(spot) + ": " +
                     outcome_words(change) + ".";
  if (change.outcome == Outcome::gone)
    text += " " + rest_words(change, spot.kind);
  else if (!change.after.empty())
    text += " " + left_words(change, after);
  for (const std::string& note : change.notes) text += " Note: " + note + ".";
  return text;
}

std::string gone_words(Outcome outcome, const std::optional<Quantity>& percent_gone) {
  if (went_past_flat(outcome)) return "past flat";
  if (!percent_gone) return "not known";
  if (outcome != Outcome::gone) return percent_words(*percent_gone);
  return std::isnan(percent_gone->low) ? "all that shows" : "at least " + figure(percent_gone->low, 0) + " %";
}

std::string new_mark_words(const NewMark& mark, const Reading& after) {
  return size_words(after.dents[static_cast<std::size_t>(mark.after)]) +
         (mark.place_was_seen
              ? ", stands where nothing was seen before"
              : ", stands where the photo before shows nothing of the panel: it may be an old one");
}

std::string summary_words(const Comparison& comparison) {
  if (std::string text = pair_words(comparison.place); !text.empty()) return text;
  const auto count = [&](auto... outcomes) {
    return std::count_if(comparison.spots.begin(), comparison.spots.end(),
                         [&](const SpotChange& spot) { return ((spot.outcome == outcomes) || ...); });
  };
  std::string text;
  const auto add = [&](std::ptrdiff_t number, const std::string& what) {
    if (number > 0) text += (text.empty() ? "" : ", ") + std::to_string(number) + " " + what;
  };
  add(count(Outcome::gone), "gone");
  add(count(Outcome::partly), "partly gone");
  add(count(Outcome::overdone, Outcome::low_in_high, Outcome::high_in_low), "gone past flat");
  add(count(Outcome::unchanged), "unchanged");
  add(count(Outcome::worse), "worse");
  add(count(Outcome::not_seen, Outcome::unclear), "that cannot be told");
  const std::size_t spots = comparison.spots.size();
  text = spots == 0 ? "No spot before" : "Of " + std::to_string(spots) + " spots: " + text;
  if (spots == 1) text = one_spot_words(comparison.spots.front());
  // of one that is gone it was said already
  const bool said = spots == 1 && comparison.spots.front().outcome == Outcome::gone;
  if (spots > 0 && !said && comparison.place.same == SamePlace::likely) text += condition;
  const auto seen_marks = comparison.highs_made + comparison.lows_made;
  const auto made = [](int number, const char* what) {
    return std::to_string(number) + " " + what + (number == 1 ? "" : "s") + " made";
  };
  if (seen_marks == 0) return text + "; no new marks.";
  if (comparison.highs_made > 0) text += "; " + made(comparison.highs_made, "high");
  if (comparison.lows_made > 0) text += "; " + made(comparison.lows_made, "low");
  return text + ".";
}

}  // namespace ripplegauge
