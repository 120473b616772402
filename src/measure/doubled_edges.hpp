// Two exposures laid upon each other, told by the tags' edges: a phone does so for a high range of
// brightness, and where the hand moved between them, all edges show twice. Blur of any kind spreads an edge;
// it does not split it.
#pragma once

#include <opencv2/core/mat.hpp>
#include <optional>
#include <vector>

#include "card/tag_detector.hpp"

namespace ripplegauge {

struct DoubledEdges {
  double apart_px = 0;  ///< of the two, across those sides of the tags that tell them apart best
  double share = 0;     ///< how steep the lesser is, over the greater: 1 where both are alike
};

/// Nothing where the edges show once; where they stand closer together than the blur is wide, or farther
/// apart than a tag's cell, which tags do not survive; where a tag is smaller than 16 px; without tags.
/// `tags` are seen directly and all turned alike, as those of one card.
std::optional<DoubledEdges> find_doubled_edges(const cv::Mat& grey, const std::vector<SeenTag>& tags);

}  // namespace ripplegauge
