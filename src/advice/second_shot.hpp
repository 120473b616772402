// What a second photo of the same place should be, by what it would add to what the first one knows least.
#pragma once

#include <optional>
#include <string>
#include <vector>

#include "ripplegauge/core/reading.hpp"

namespace ripplegauge {

/// What the first photo's stripes are like, beside its reading.
struct FirstStripes {
  std::optional<double> period_px;               ///< in the photo, near the middle of what is judged
  std::optional<double> direction_on_panel_deg;  ///< along them, from the card's x axis towards y
};

struct SecondShot {
  int spot = 0;                            ///< index in Reading::dents of the spot that is known least
  std::string quantity;                    ///< "depth" or "diameter": what is known least of it
  std::string limited_by;                  ///< the largest term of its budget
  double now_percent = 0;                  ///< half of the 95 % interval
  double expected_percent = 0;             ///< the same with both photos read together
  std::optional<double> turn_board_deg;    ///< about its own middle
  std::optional<double> pitch_mm;          ///< of a finer board
  std::optional<double> board_further_mm;  ///< from the dent
  std::string stripes_missing;     ///< side of the spot, in the photo, where stripes are wanted: "right"
  std::vector<std::string> words;  ///< what to do, a sentence each, with the reason
};

/// Weighs photos with the board turned, with finer stripes and with the board further away. Nothing where the
/// reading has no spot with a budget, or where no second photo would narrow the interval by a tenth.
std::optional<SecondShot> second_shot(const Reading& first, const FirstStripes& stripes);

}  // namespace ripplegauge
