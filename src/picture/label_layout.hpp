// Where labels go on a picture, so that none hides another, an outline or another label's line.
#pragma once

#include <opencv2/core.hpp>
#include <optional>
#include <vector>

namespace ripplegauge::picture_detail {

struct LabelWish {
  std::vector<cv::Point2d> outline;  ///< the spot, in pixels; not empty
  cv::Size2d size;                   ///< of the label
};

struct PlacedLabel {
  cv::Rect2d box;
  cv::Point2d line_from, line_to;  ///< from the box's edge to the outline
};

/// For each wish a place inside `area` that overlaps no other label and none of the boxes that are `taken`;
/// if there is one also no outline, and with a line that crosses nothing. Of those the one with the shortest
/// line. nullopt where the area is full. `unit` is the size of the text: it sets gaps and steps.
std::vector<std::optional<PlacedLabel>> place_labels(const std::vector<LabelWish>& wishes,
                                                     const cv::Rect2d& area,
                                                     const std::vector<cv::Rect2d>& taken, double unit);

}  // namespace ripplegauge::picture_detail
