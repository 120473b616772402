// Before and after a repair: what became of each spot, how much of it is gone, and what is new.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "compare/alignment.hpp"
#include "compare/place.hpp"
#include "core/enum_words.hpp"
#include "ripplegauge/core/quantity.hpp"
#include "ripplegauge/core/reading.hpp"
#include "ripplegauge/core/relief.hpp"

namespace ripplegauge {

enum class Outcome {
  gone,         ///< the photo shows the place, and nothing is left that it would show
  partly,       ///< less of the same kind is left
  overdone,     ///< a low became a high, or the other way round
  low_in_high,  ///< a high with a low left inside it
  high_in_low,  ///< a low with a high left inside it
  unchanged,    ///< no difference larger than the readings' own uncertainty
  worse,        ///< more of the same kind
  not_seen,     ///< the photo after does not show the place well enough
  unclear       ///< the spots cannot be told apart, or the depth is not known
};
template <>
struct EnumWords<Outcome> {
  static constexpr std::pair<Outcome, const char*> list[] = {{Outcome::gone, "gone"},
                                                             {Outcome::partly, "partly"},
                                                             {Outcome::overdone, "overdone"},
                                                             {Outcome::low_in_high, "low_in_high"},
                                                             {Outcome::high_in_low, "high_in_low"},
                                                             {Outcome::unchanged, "unchanged"},
                                                             {Outcome::worse, "worse"},
                                                             {Outcome::not_seen, "not_seen"},
                                                             {Outcome::unclear, "unclear"}};
};

/// What became of one spot. Indices are into the dents of the two readings.
struct SpotChange {
  int before = -1;
  Kind kind = Kind::low;   ///< of the spot before
  std::vector<int> after;  ///< what stands in its place, the highest relief first
  Outcome outcome = Outcome::unclear;
  /// Whether the readings prove the outcome. Where it is not, it is the likelier one, and the notes say why.
  bool sure = true;
  bool swapped = false;  ///< it looks as if the photos were given in the wrong order; the last note says so
  bool if_same_place = false;  ///< it holds only if the photos show one place, which nothing in them proves
  std::optional<Quantity> left_mm;         ///< the largest relief, low or high, that stands in its place
  std::optional<Quantity> left_height_mm;  ///< the same with its sign: low below 0, high above
  /// Of its depth; below 0 when it got worse, never above 100. Absent where it went past flat: then what
  /// stands there is no rest of it.
  std::optional<Quantity> percent_gone;
  std::optional<Quantity> volume_percent_gone;
  std::optional<Quantity> moved_mm;  ///< how far the surface came up (negative: went down) at the spot
  /// Where it is gone: anything shallower would not have shown; absent: not known.
  std::optional<VisibleDent> nothing_above;
  int highs_made = 0;  ///< highs in its place where there was a low
  std::vector<std::string> notes;
};

/// A spot after that was not there before.
struct NewMark {
  int after = -1;
  bool place_was_seen = true;  ///< false: the photo before does not show the place, so it may be an old one
};

struct Comparison {
  Alignment alignment;
  PlaceEvidence place;            ///< whether both photos show one place; nothing is gone where they do not
  std::vector<SpotChange> spots;  ///< one for each spot before, in that order
  std::vector<NewMark> new_marks;
  /// Over all spots whose depths are known and that did not go past flat, weighted by depth.
  std::optional<Quantity> percent_gone;
  int past_flat = 0;                   ///< spots that were pulled or knocked down too far
  std::optional<double> overshoot_mm;  ///< the most that one of them stands on the other side
  int highs_made = 0;                  ///< in the place of lows, and new ones elsewhere
  int lows_made = 0;                   ///< new ones elsewhere
  std::optional<double> minutes;       ///< between the photos; absent when one of them holds no time
  std::vector<std::string> notes;      ///< what makes the comparison as a whole less sure
};

struct CompareOptions {
  AlignmentOptions alignment;
  /// The place counts as seen when the relief covers this share of the spot.
  double seen_share = 0.8;
  /// Relief smaller than this would not have shown in the photo after. Absent: see PlaceOptions.
  std::optional<double> visible_limit_mm;
  AskPeel same_peel{};               ///< from the photos, where they are at hand
  Wording words = Wording::plain();  ///< of notes and reasons
};

/// The reliefs may be empty. Throws UsageError for a refused reading.
Comparison compare_readings(const Reading& before, const Relief& relief_before, const Reading& after,
                            const Relief& relief_after, const CompareOptions& options = {});

/// A low that became a high or holds one, or the other way round.
bool went_past_flat(Outcome outcome);

/// What is left of a size of which `left` of `whole` is left, in per cent gone. Independent errors are added
/// as squares, each side of the intervals for itself (JCGM 100:2008, 5.1.2).
Quantity percent_gone(const Quantity& whole, const Quantity& left);

}  // namespace ripplegauge
