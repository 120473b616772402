// Outcomes, sizes and shares as sentences; the same for the terminal and for pages.
#include "compare/words.hpp"

#include <algorithm>
#include <cmath>

#include "words/text.hpp"

namespace ripplegauge {

namespace {

int decimals_for(double mm) { return std::abs(mm) < 0.1 ? 3 : std::abs(mm) < 10 ? 2 : 1; }

std::string size_words(const Dent& dent, const Wording& words) {
  return words(
      dent.kind == Kind::low ? "compare.size.low" : "compare.size.high",
      {{"depth", dent.depth_mm ? length_words(*dent.depth_mm, words) : words("compare.unknown_depth")},
       {"width", length_words(dent.diameter_mm.value, words)}});
}

std::string left_words(const SpotChange& change, const Reading& after, const Wording& words) {
  const auto dent = [&](int index) -> const Dent& { return after.dents[static_cast<std::size_t>(index)]; };
  const int main = change.after.front();
  std::string inside;
  for (const int index : change.after)
    if (dent(index).inside_of == main)
      inside += (inside.empty() ? "" : ", ") + size_words(dent(index), words);
  const std::string size = size_words(dent(main), words);
  std::string text = inside.empty() ? words("compare.left", {{"size", size}})
                                    : words("compare.left_inside", {{"size", size}, {"inside", inside}});
  if (change.percent_gone && change.outcome == Outcome::partly)
    text += " " + words("compare.of_depth_gone", {{"percent", percent_words(*change.percent_gone, words)}});
  return text;
}

std::string one_spot_words(const SpotChange& change, const Wording& words) {
  switch (change.outcome) {
    case Outcome::gone:
      return words(change.if_same_place ? "compare.one.gone_if" : "compare.one.gone",
                   {{"nothing", nothing_above_words(change.nothing_above, change.kind, words)}});
    case Outcome::partly:
      if (!change.sure) return words("compare.one.probably_partly");
      return change.percent_gone
                 ? words("compare.one.percent", {{"percent", percent_words(*change.percent_gone, words)}})
                 : words("compare.one.partly");
    case Outcome::overdone:
    case Outcome::low_in_high:
    case Outcome::high_in_low:
      return change.left_height_mm ? words("compare.one.past_flat_by",
                                           {{"height", height_words(*change.left_height_mm, words)}})
                                   : words("compare.one.past_flat");
    case Outcome::unchanged:
      return words("compare.one.unchanged");
    case Outcome::worse:
      return words(change.sure ? "compare.one.worse" : "compare.one.probably_worse");
    case Outcome::not_seen:
      return words("compare.one.not_seen");
    case Outcome::unclear:
      break;
  }
  return words("compare.one.unclear");
}

/// `value` with its unit; the interval is left out where an end is not known.
std::string with_bounds(const std::string& value, const Quantity& quantity, int decimals,
                        const Wording& words) {
  if (!std::isfinite(quantity.low) || !std::isfinite(quantity.high)) return value;
  return words("text.interval", {{"value", value},
                                 {"low", words.number(quantity.low, decimals)},
                                 {"high", words.number(quantity.high, decimals)}});
}

}  // namespace

std::string rest_words(const SpotChange& change, Kind kind, const Wording& words) {
  return words(change.nothing_above ? "compare.rest" : "compare.rest_unknown",
               {{"nothing", capitalised(nothing_above_words(change.nothing_above, kind, words))}});
}

std::string length_words(double mm, const Wording& words) {
  return std::isnan(mm) ? words("text.not_known") : words.number(mm, decimals_for(mm)) + " mm";
}

std::string length_words(const Quantity& mm, const Wording& words) {
  if (std::isnan(mm.value)) return words("text.not_known");
  return with_bounds(length_words(mm.value, words), mm, decimals_for(mm.value), words);
}

std::string height_words(const Quantity& height_mm, const Wording& words) {
  if (std::isnan(height_mm.value)) return words("text.not_known");
  return (height_mm.value > 0 ? "+" : "") + length_words(height_mm, words);
}

std::string percent_words(const Quantity& percent, const Wording& words) {
  if (std::isnan(percent.value)) return words("text.not_known");
  return with_bounds(words("text.percent", {{"value", words.number(percent.value, 0)}}), percent, 0, words);
}

std::string outcome_words(Outcome outcome, Kind kind_before, const Wording& words) {
  const bool low = kind_before == Kind::low;
  switch (outcome) {
    case Outcome::gone:
      return words("compare.outcome.gone");
    case Outcome::partly:
      return words(low ? "compare.outcome.partly_low" : "compare.outcome.partly_high");
    case Outcome::overdone:
      return words(low ? "compare.outcome.overdone_low" : "compare.outcome.overdone_high");
    case Outcome::low_in_high:
      return words("compare.outcome.low_in_high");
    case Outcome::high_in_low:
      return words("compare.outcome.high_in_low");
    case Outcome::unchanged:
      return words("compare.outcome.unchanged");
    case Outcome::worse:
      return words(low ? "compare.outcome.worse_low" : "compare.outcome.worse_high");
    case Outcome::not_seen:
      return words("compare.outcome.not_seen");
    case Outcome::unclear:
      break;
  }
  return words("compare.outcome.unclear");
}

std::string outcome_words(const SpotChange& change, const Wording& words) {
  const bool told = change.outcome != Outcome::not_seen && change.outcome != Outcome::unclear;
  std::string text = outcome_words(change.outcome, change.kind, words);
  if (!change.sure) text = words("compare.probably", {{"outcome", text}});
  return told && change.if_same_place ? words("compare.if_same_place", {{"text", text}}) : text;
}

std::string pair_words(const PlaceEvidence& place, const Wording& words) {
  return place.same == SamePlace::no ? words("compare.nothing_said", {{"reason", place.reason}}) : "";
}

std::string spot_words(const SpotChange& change, const Reading& before, const Reading& after,
                       const Wording& words) {
  const Dent& spot = before.dents[static_cast<std::size_t>(change.before)];
  std::string text = words("compare.spot_is", {{"number", change.before + 1},
                                               {"size", size_words(spot, words)},
                                               {"outcome", outcome_words(change, words)}});
  if (change.outcome == Outcome::gone)
    text += " " + rest_words(change, spot.kind, words);
  else if (!change.after.empty())
    text += " " + left_words(change, after, words);
  for (const std::string& note : change.notes)
    text += " " + words("compare.note", {{"note", with_full_stop(note)}});
  return text;
}

std::string gone_words(Outcome outcome, const std::optional<Quantity>& percent_gone, const Wording& words) {
  if (went_past_flat(outcome)) return words("compare.gone.past_flat");
  if (!percent_gone) return words("text.not_known");
  if (outcome != Outcome::gone) return percent_words(*percent_gone, words);
  return std::isnan(percent_gone->low)
             ? words("compare.gone.all_that_shows")
             : words("compare.gone.at_least", {{"value", words.number(percent_gone->low, 0)}});
}

std::string new_mark_words(const NewMark& mark, const Reading& after, const Wording& words) {
  return words(mark.place_was_seen ? "compare.mark_new" : "compare.mark_may_be_old",
               {{"size", size_words(after.dents[static_cast<std::size_t>(mark.after)], words)}});
}

std::string summary_words(const Comparison& comparison, const Wording& words) {
  if (std::string text = pair_words(comparison.place, words); !text.empty()) return text;
  const auto count = [&](auto... outcomes) {
    return std::count_if(comparison.spots.begin(), comparison.spots.end(),
                         [&](const SpotChange& spot) { return ((spot.outcome == outcomes) || ...); });
  };
  std::string text;
  const auto add = [&](std::ptrdiff_t number, const char* key) {
    if (number > 0)
      text += (text.empty() ? "" : ", ") + words(key, {{"count", static_cast<std::int64_t>(number)}});
  };
  add(count(Outcome::gone), "compare.sum.gone");
  add(count(Outcome::partly), "compare.sum.partly");
  add(count(Outcome::overdone, Outcome::low_in_high, Outcome::high_in_low), "compare.sum.past_flat");
  add(count(Outcome::unchanged), "compare.sum.unchanged");
  add(count(Outcome::worse), "compare.sum.worse");
  add(count(Outcome::not_seen, Outcome::unclear), "compare.sum.not_told");
  const std::size_t spots = comparison.spots.size();
  text = spots == 0   ? words("compare.sum.none")
         : spots == 1 ? one_spot_words(comparison.spots.front(), words)
                      : words("compare.sum.of", {{"count", spots}, {"parts", text}});
  // of one that is gone it was said already
  const bool said = spots == 1 && comparison.spots.front().outcome == Outcome::gone;
  if (spots > 0 && !said && comparison.place.same == SamePlace::likely)
    text = words("compare.if_same_place", {{"text", text}});
  if (comparison.highs_made + comparison.lows_made == 0)
    return words("compare.sum.no_marks", {{"summary", text}});
  if (comparison.highs_made > 0)
    text += "; " + words("compare.sum.highs_made", {{"count", comparison.highs_made}});
  if (comparison.lows_made > 0)
    text += "; " + words("compare.sum.lows_made", {{"count", comparison.lows_made}});
  return text + ".";
}

}  // namespace ripplegauge
