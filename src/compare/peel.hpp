// Whether two photos show the same orange peel in the same place.
#pragma once

#include <vector>

#include "core/peel_pattern.hpp"
#include "ripplegauge/core/reading.hpp"

namespace ripplegauge {

/// Correlation of two patterns laid over each other as their cards lie, and what it is where they are laid
/// wrongly on purpose, some millimetres off: there, nothing but chance agrees.
struct PeelAgreement {
  double in_place = 0;   ///< the best within what a card that was left alone is found again to, 1 mm
  double elsewhere = 0;  ///< root mean square over places 3 to 9 mm off
  double best_elsewhere = 0;

  /// Ray-traced photos, four pairs of one peeled panel against 285 pairs of different panels: the same panel
  /// gives 5 to 15 times what chance gives and 1.4 to 4 times its best, another one 3.9 at most and 1.1 times
  /// its best. Says nothing of photos that it does not prove: where peel is fine, stripes run across
  /// each other or a panel was polished, no agreement is to be seen.
  bool proves_same_place() const {
    return elsewhere > 0 && in_place >= 6 * elsewhere && in_place >= 1.5 * best_elsewhere;
  }
};

/// Spots are left out: two dents in like places would agree. Nothing agrees where a pattern is empty or too
/// few edges cross.
PeelAgreement peel_agreement(const PeelPattern& before, const std::vector<Dent>& spots_before,
                             const PeelPattern& after, const std::vector<Dent>& spots_after);

}  // namespace ripplegauge
