// A comparison in plain words, for the terminal and the customer's page alike.
#pragma once

#include <string>

#include "compare/comparison.hpp"

namespace ripplegauge {

/// "0.536 mm", with as many decimals as mean something: three below a tenth of a millimetre, else two.
std::string length_words(double mm, const Wording& words = Wording::plain());

/// "0.54 mm (0.51 to 0.56)"; "not known" for NaN.
std::string length_words(const Quantity& mm, const Wording& words = Wording::plain());

/// With its sign, so that a high and a low are told apart: "+0.10 mm (0.09 to 0.11)", "-0.20 mm (-0.22 to
/// -0.18)".
std::string height_words(const Quantity& height_mm, const Wording& words = Wording::plain());

/// "62 % (55 to 69)"; a missing end of the interval is left out.
std::string percent_words(const Quantity& percent, const Wording& words = Wording::plain());

/// What became of it, in a few words: "partly pulled", "over-pulled: a high stands here now".
std::string outcome_words(Outcome outcome, Kind kind_before, const Wording& words = Wording::plain());

/// The same of one spot, with what it hangs on: "gone, if this is the same place".
std::string outcome_words(const SpotChange& change, const Wording& words = Wording::plain());

/// Why nothing can be said of a pair of photos, and what to do; empty where something can.
std::string pair_words(const PlaceEvidence& place, const Wording& words = Wording::plain());

/// Two or three sentences on one spot, which is called "Spot 1".
std::string spot_words(const SpotChange& change, const Reading& before, const Reading& after,
                       const Wording& words = Wording::plain());

/// What can be said of a spot that is gone: "Nothing deeper than 0.02 mm at 10 mm wide is left there."
std::string rest_words(const SpotChange& change, Kind kind_before, const Wording& words = Wording::plain());

/// How much is gone, never more than a photo can say: "62 % (55 to 69)", "at least 92 %", "all that shows",
/// "past flat".
std::string gone_words(Outcome outcome, const std::optional<Quantity>& percent_gone,
                       const Wording& words = Wording::plain());

/// A new mark: "a high of 0.06 mm, 6.5 mm wide, stands where nothing was seen before".
std::string new_mark_words(const NewMark& mark, const Reading& after,
                           const Wording& words = Wording::plain());

/// One sentence on the whole.
std::string summary_words(const Comparison& comparison, const Wording& words = Wording::plain());

}  // namespace ripplegauge
