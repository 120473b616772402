// Why a photo cannot be measured, in words that help to take the next one.
#pragma once

#include <optional>
#include <vector>

#include "card/tag_detector.hpp"
#include "ripplegauge/core/card_definition.hpp"
#include "ripplegauge/core/reading.hpp"

namespace ripplegauge {

constexpr double smallest_side_px = 24;  ///< of a tag: three pixels a cell
constexpr double cells_a_side = 8;
constexpr double steepest_deg = 62;  ///< off square: beyond, a tag is squeezed to less than half

/// The tags and a tag's width around them, px.
cv::Rect box_around(const std::vector<SeenTag>& tags);
/// From 10 to 90 % of a tag's edge, px; at least one tag.
double median_edge_width_px(const std::vector<SeenTag>& tags);
double shortest_side_px(const std::vector<SeenTag>& tags);
Refusal refuse_no_card(const cv::Mat& grey, const std::vector<SeenTag>& seen);
/// Looks at the tags alone; keeps in `seen` what belongs to the card.
std::optional<Refusal> check_tags(const cv::Mat& grey, const CardDefinition& card,
                                  std::vector<SeenTag>& seen);
/// Looks at the pose that the tags alone give.
std::optional<Refusal> check_view(const cv::Mat& grey, const std::vector<SeenTag>& tags, double tilt_deg,
                                  double tag_rms_px, double pixels_per_mm);

}  // namespace ripplegauge
