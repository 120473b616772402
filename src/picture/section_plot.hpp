#pragma once

#include "drawing.hpp"

namespace ripplegauge::picture_detail {

/// A spot's cross-section along its length, with axes. Draws nothing if the dent has no section.
void draw_section(PixelCanvas& canvas, const cv::Rect2d& area, const Dent& dent, double text_size);

}  // namespace ripplegauge::picture_detail
