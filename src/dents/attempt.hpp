// One try at explaining a disturbance by a spot, from the first starts to the judged fit.
#pragma once

#include <vector>

#include "dents/spot_search.hpp"
#include "patches.hpp"

namespace ripplegauge {

struct Attempt {
  SpotFit fit;
  SpotJudgement judgement;
  bool usable = false;
  bool moves_little = false;          ///< what it explains is no more than peel: not worth another try
  std::vector<LookedAt> looked_at{};  ///< what it depends on
};

/// What a fit has to show for itself: the share it explains, less what is as loud around it.
double credit(const SpotJudgement& judgement);

/// Sharpens the outline, searches about it and finishes the best. Some discs of panel are left out, some
/// spots are explained already.
Attempt attempt(const PanelScene& scene, const Outline& rough, const std::vector<Disc>& leave_out,
                const std::vector<SpotVector>& explained);

/// For a disturbance that is surely there but that the outline's own starts do not explain: its region may be
/// several times the spot (a steep rim is loud far out), its place and direction only roughly right. Tries
/// the outline in these sizes, until one explains it.
Attempt wide_attempt(const PanelScene& scene, const Outline& rough, const std::vector<Disc>& leave_out,
                     const std::vector<SpotVector>& explained,
                     const std::vector<double>& scales = {1.0, 0.6, 0.35});

/// The discs of all candidates but this one.
std::vector<Disc> other_candidates(const std::vector<Candidate>& candidates, const Outline& self);

/// An attempt at one of several candidates, the others left out. What was left out as a neighbour may be the
/// other half of the same spot: where it covers some of a fit that is not believed; or where the other sign
/// would explain nearly as well what was left in, one edge of a stripe perhaps.
Attempt attempt_beside_others(const PanelScene& scene, const Outline& outline,
                              const std::vector<Candidate>& all, const std::vector<SpotVector>& explained);

/// A sum of two spots, judged by its first one.
Attempt judged_sum(const PanelScene& scene, const SpotSum& sum, const SpotFit& single,
                   const std::vector<SpotVector>& others);

/// A spot fitted a little further with others explained, and judged.
Attempt judged_among(const PanelScene& scene, const SpotFit& fit, const std::vector<SpotVector>& others);

}  // namespace ripplegauge
