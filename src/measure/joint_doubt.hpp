// What a set of photos leaves open of a dent, and whether one of them contradicts the others.
#pragma once

#include <optional>
#include <vector>

#include "joint_looks.hpp"

namespace ripplegauge {

/// The photos' information on orange peel, which is the same panel in all of them: looks along one direction
/// of slope see the same cells. Of f of the cells that a photo looks at, ln(1 - f) adds up for each
/// direction, so that no direction is looked at more than once.
struct PeelLooks {
  double squared_snr = 0;    ///< of all photos together
  double counted_twice = 1;  ///< looks of the photos, over those that differ
};
PeelLooks peel_looks(const std::vector<SetLook>& looks, const std::vector<SpotJudgement>& judgements);

/// Relative spread of the numbers; what of it the photos' geometry makes, and what noise.
struct Spread {
  SpotNumbers all = SpotNumbers::Zero(), noise = SpotNumbers::Zero();
};

/// Over the spots that explain all photos alike: heights are tried one by one, since a valley bends; what is
/// open at each height, its geometry too, by a normal law.
Spread spread_of(std::vector<SetLook> looks, const Parts& best, bool highlight, int threads);

/// How much likelier (ln) a photo finds what it shows by itself than by the joint answer; `flat`: by no dent.
struct Against {
  double by = 0;
  std::optional<SpotGeometry> alone;
};
Against against(const SetLook& joint, const Parts& parts, const std::vector<Parts>& starts, bool highlight);

}  // namespace ripplegauge
