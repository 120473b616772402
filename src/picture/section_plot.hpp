#pragma once

#include <vector>

#include "drawing.hpp"

namespace ripplegauge::picture_detail {

/// What all sections of a page span, so that they compare: half a width, lowest and highest height, in mm.
struct SectionScale {
  double half_width_mm = 0, lowest_mm = 0, highest_mm = 0;
};

/// Of a crease across it, of a round spot along its length axis; both through its deepest point.
const std::vector<ProfilePoint>& drawn_section(const Dent& dent);

SectionScale scale_of(const std::vector<Dent>& dents);

/// A spot's section with axes. Draws nothing if the dent has no section.
void draw_section(PixelCanvas& canvas, const cv::Rect2d& area, const Dent& dent, const SectionScale& scale,
                  const Wording& words, double text_size);

}  // namespace ripplegauge::picture_detail
