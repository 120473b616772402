// What no spot explains, once the search is over.
#pragma once

#include <vector>

#include "dents/spot_search.hpp"

namespace ripplegauge {

/// Places as loud as no peel gets outside the spots, loudest first, and their cells (CV_8UC1, 255 there, else
/// 0).
struct Unexplained {
  std::vector<UnexplainedPlace> places;
  cv::Mat cells;
};

/// `map` is what is left with `spots` explained, on the cells of `field`.
Unexplained unexplained_places(const ResidualField& field, const DisturbanceMap& map,
                               const std::vector<SpotVector>& spots, const DentOptions& options);

}  // namespace ripplegauge
