// What two photos say of one place on a panel: whether both show the same place, and, where nothing is found,
// how small a dent would have shown. Whoever says "gone", "done" or "not shown" asks here.
#pragma once

#include <functional>
#include <optional>
#include <string>
#include <utility>

#include "compare/alignment.hpp"
#include "core/enum_words.hpp"
#include "ripplegauge/core/reading.hpp"
#include "ripplegauge/core/relief.hpp"

namespace ripplegauge {

enum class SamePlace {
  /// Spots stand where spots stood, the orange peel is the same, or the user says that the card was not
  /// moved.
  proven,
  likely,  ///< nothing speaks against it, and nothing left in the photos proves it
  no       ///< something speaks against it: another crown, line or card, the order of the photos
};

template <>
struct EnumWords<SamePlace> {
  static constexpr std::pair<SamePlace, const char*> list[] = {
      {SamePlace::proven, "proven"}, {SamePlace::likely, "likely"}, {SamePlace::no, "no"}};
};

struct PlaceEvidence {
  SamePlace same = SamePlace::likely;
  std::string reason;         ///< by what, a sentence without capital and full stop
  bool card_decides = false;  ///< whether to be told that the card was moved, or was not, would settle it
};

/// From spots, card, the order of the photos, and crown and body line where both readings are in one frame.
/// Where these prove nothing and a card lies as it lay, `same_peel` is asked: whether the photos show the
/// same orange peel (see PeelAgreement). A "no" is none: peel is not to be seen in every photo.
using AskPeel = std::function<bool(const Reading& before, const Reading& after)>;
PlaceEvidence same_place(const Reading& before, const Reading& after, const Alignment& alignment,
                         CardPlacement told, const AskPeel& same_peel = {},
                         const Wording& words = Wording::plain());

/// A place where a reading holds no spot.
struct EmptyPlace {
  bool shown = false;
  std::string why_not;  ///< and what to do; empty when it is shown
  /// The shallowest dent as wide as the spot before that would have shown there; absent: not known.
  std::optional<VisibleDent> smallest;
};

struct PlaceOptions {
  double seen_share = 0.8;  ///< a place counts as shown when so much of the spot's area was judged
  /// Shallower would not have shown. Absent: by what the reading says of its stripes and its paint, else
  /// three times the scatter of the relief around the spot.
  std::optional<double> visible_limit_mm;
};

/// `place` is where the spot's centre lies in the frame of `after`; the relief may be empty.
EmptyPlace look_at_empty_place(const Dent& spot, PointMm place, const Reading& after,
                               const Relief& relief_after, const PlaceOptions& options = {},
                               const Wording& words = Wording::plain());

/// "nothing deeper than 0.02 mm at 10 mm wide".
std::string nothing_above_words(const std::optional<VisibleDent>& smallest, Kind kind = Kind::low,
                                const Wording& words = Wording::plain());

}  // namespace ripplegauge
