// What covers the panel, or stands in its place: a gap, a trim, a badge, a handle, a wheel arch. Stripes end
// there.
#pragma once

#include <opencv2/core/mat.hpp>

#include "stripes/panel_view.hpp"

namespace ripplegauge {

/// Cells where no stripes are mirrored, CV_8UC1, 0 or 1; all 0 where nothing ends the stripes.
struct BareCells {
  cv::Mat all;
  cv::Mat ends;  ///< those among stripes, which something ends or covers; the others may be the board's end
};

/// Where no stripes are mirrored: cells on straight ways across a stripe and more along which light hardly
/// changes, if they hang together over more stripes than a dent ever draws out into one. `covered` (CV_8UC1)
/// is what is known to hide the panel.
BareCells without_stripes(const ReducedLight& light, const PanelModel<double>& model, const cv::Mat& covered,
                          const PanelGrid& grid, double period_mm, const cv::Mat& in_phase);

}  // namespace ripplegauge
