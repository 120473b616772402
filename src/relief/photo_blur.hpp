// How blurred the photo is, and where: read off the tags' edges.
#pragma once

#include <vector>

#include "card/tag_detector.hpp"
#include "panel/panel_model.hpp"

namespace ripplegauge {

/// Variances of the photo's blur, pixels' squares included, px^2.
struct PhotoBlur {
  double width_px2 = 0;   ///< of the Gaussian with edges as wide: what contrast goes by
  double moment_px2 = 0;  ///< second moment, which a phone's sharpening lessens: what curved stripes shift by
};

/// Where the tags are, on average.
PhotoBlur mean_blur(const std::vector<SeenTag>& tags);

/// At a panel point. A lens is sharp at one depth z0 and blurs by a variance of v0 + c (1/z - 1/z0)^2: that
/// through what the tags show, with no more of a bend than they ask for.
PhotoBlur blur_at(const std::vector<SeenTag>& tags, const PanelModel<double>& model, double x_mm,
                  double y_mm);

}  // namespace ripplegauge
