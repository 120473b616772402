#pragma once

#include <string>
#include <vector>

#include "drawing.hpp"

namespace ripplegauge::picture_detail {

/// A spot as it is drawn on a photo or a map.
struct Spot {
  int number = 0;  ///< from 1
  Kind kind = Kind::low;
  std::vector<cv::Point2d> outline;     ///< closed, pixels of the canvas; empty: not drawn
  std::string first_line, second_line;  ///< of its label; either may be empty
  std::vector<cv::Point2d> crosses;     ///< where tab or tip is set: the deepest point, a crease's ends
};

/// Outlines, and labels beside them with a line to each. Nothing leaves `area`; labels keep off the boxes
/// `taken`.
void draw_spots(PixelCanvas& canvas, const std::vector<Spot>& spots, const cv::Rect2d& area,
                const std::vector<cv::Rect2d>& taken, double text_size);

}  // namespace ripplegauge::picture_detail
