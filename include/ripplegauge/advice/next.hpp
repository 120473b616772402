// After a pull: what two readings of the same panel say about the next move.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "ripplegauge/advice/plan.hpp"

namespace ripplegauge {

/// In the order in which they are done: what raises or levels comes before what pulls.
enum class Verdict { photo_again, level_ring, pull_again, tap_down, stop };

template <>
struct EnumWords<Verdict> {
  static constexpr std::pair<Verdict, const char*> list[] = {{Verdict::photo_again, "photo_again"},
                                                             {Verdict::level_ring, "level_ring"},
                                                             {Verdict::pull_again, "pull_again"},
                                                             {Verdict::tap_down, "tap_down"},
                                                             {Verdict::stop, "stop"}};
};

/// One spot in two readings. At least one of them is there; a spot that is only in `after` is a new mark.
struct SpotPair {
  std::optional<std::size_t> before, after;  ///< positions in Reading::dents
};

struct SpotNext {
  Verdict verdict = Verdict::photo_again;
  SpotPair spot;
  PointMm where;  ///< in the later card frame; in the earlier one when the spot is gone
  std::optional<Quantity> gone_percent;  ///< of the depth; negative when it became deeper
  std::optional<bool> same_tab;          ///< for another pull
  std::optional<TabChoice> tab;
  std::optional<PullerChoice> puller;
  std::optional<TemperatureRange> pull_at;
  std::optional<Quantity> wait_s;
  std::optional<TipChoice> tip;
  Step step;
};

struct NextStep {
  std::string before, after;               ///< photo names
  Verdict verdict = Verdict::photo_again;  ///< the first thing to do
  std::string summary;
  std::vector<SpotNext> spots;  ///< in the order of work
  std::vector<Warning> warnings;
  std::vector<Caution> cautions;
};

/// Spots that lie in the same place on the card. A single spot on either side counts as the same one wherever
/// it lies, since the card may have been moved.
std::vector<SpotPair> match_spots(const Reading& before, const Reading& after, const AdviceRules& rules);

/// With matches that somebody knows better (compare does, when the card was moved).
NextStep next_step(const Reading& before, const Reading& after, const std::vector<SpotPair>& spots,
                   const PanelFacts& facts, const AdviceData& data);

NextStep next_step(const Reading& before, const Reading& after, const PanelFacts& facts,
                   const AdviceData& data);

std::string next_to_text(const NextStep& next, int width = 80);

}  // namespace ripplegauge
