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

/// For each wish a place inside `area` that does not overlap any other label, any outline, or the boxes that
/// are `taken`: the nearest to its outline, tried in rings around it. Where the area is too crowded, outlines
/// may be covered, then the whole area is searched; nullopt where even that finds nothing. `unit` is the size
/// of the text: it sets gaps and ring spacing.
std::vector<std::optional<PlacedLabel>> place_labels(const std::vector<LabelWish>& wishes,
                                                     const cv::Rect2d& area,
                                                     const std::vector<cv::Rect2d>& taken, double unit);

}  // namespace ripplegauge::picture_detail
