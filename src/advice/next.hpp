// After a pull: what two readings of the same panel say about the next move.
#pragma once

#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "advice/plan.hpp"
#include "compare/comparison.hpp"

namespace ripplegauge {

/// In the order in which they are done: what raises or levels comes before what pulls.
enum class Verdict {
  photo_again,  ///< the two photos do not tell
  level_ring,
  pull_again,
  tap_down,
  done_if_same_place,  ///< nothing is left, but nothing in the photos proves that it is the same place
  stop
};

template <>
struct EnumWords<Verdict> {
  static constexpr std::pair<Verdict, const char*> list[] = {
      {Verdict::photo_again, "photo_again"},
      {Verdict::level_ring, "level_ring"},
      {Verdict::pull_again, "pull_again"},
      {Verdict::tap_down, "tap_down"},
      {Verdict::done_if_same_place, "done_if_same_place"},
      {Verdict::stop, "stop"}};
};

/// One spot in two readings. At least one of them is there; a spot that is only in `after` is a new mark.
struct SpotPair {
  std::optional<std::size_t> before, after;  ///< positions in Reading::dents
};

struct SpotNext {
  Verdict verdict = Verdict::photo_again;
  bool done = false;         ///< nothing is left that the photo would show, or that the eye would find
  bool eye_decides = false;  ///< ... but the eye may find less than the photo shows
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
  std::vector<Step> details;  ///< of another pull: tab, glue and puller with all their reasons
};

struct NextStep {
  std::string before, after;               ///< photo names
  PlaceEvidence place;                     ///< whether they show one place
  Verdict verdict = Verdict::photo_again;  ///< the first thing to do
  std::string summary;
  std::vector<SpotNext> spots;  ///< in the order of work
  std::vector<Warning> warnings;
  std::vector<Caution> cautions;
};

/// From what compare_readings() said of the two; nothing is called done that it does not call gone, nor where
/// what is left would still be found.
NextStep next_step(const Reading& before, const Reading& after, const Comparison& comparison,
                   const PanelFacts& facts, const AdviceData& data);

/// Compares first. A refused photo is an answer, too: take it again.
NextStep next_step(const Reading& before, const Reading& after, const PanelFacts& facts,
                   const AdviceData& data, const CompareOptions& options = {});

/// `full` adds every reason and every caution to the few lines.
std::string next_to_text(const NextStep& next, bool full = false, int width = 80);

}  // namespace ripplegauge
