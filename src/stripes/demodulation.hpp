// Phase of the stripes against a model's own phase, and its unwrapping.
#pragma once

#include <opencv2/core/mat.hpp>
#include <vector>

#include "stripes/panel_view.hpp"

namespace ripplegauge {

/// Node (r, c) stands for a block of stride x stride cells of a grid, a quarter of a period wide.
struct Demodulated {
  cv::Mat angle;      ///< measured minus model phase, radians; CV_32FC1
  cv::Mat amplitude;  ///< of the light's swing; CV_32FC1
  cv::Mat mean;       ///< of the light; CV_32FC1
  cv::Mat seen;       ///< in the photo, not covered, resolved, within the window's radius; CV_8UC1
  cv::Mat usable;     ///< seen, and the amplitude is a stripe's; CV_8UC1
  int stride = 1;
};

/// Where and how far demodulation looks.
struct Window {
  double sigma_periods = 0.7, anchor_x_mm = 0, anchor_y_mm = 0, radius_mm = 0;
};

/// Complex demodulation against the model's phase (Takeda et al., J. Opt. Soc. Am. 72:156, 1982, in space
/// instead of frequency). The local mean of the light is taken off behind the sums: it is the same all over a
/// block.
Demodulated demodulate(const ReducedLight& light, const PanelModel<double>& model, const cv::Mat& covered,
                       const PanelGrid& grid, double period_mm, const Window& window);

/// Connected places whose phase was unwrapped in one piece.
struct Floods {
  cv::Mat unwrapped;        ///< radians; NaN where no flood came; CV_32FC1
  cv::Mat label;            ///< 1, 2, ...; 0 where none came; CV_32SC1
  std::vector<int> counts;  ///< nodes of flood i + 1
};

/// Quality-guided floods: each from the best node that is left outwards, better nodes first, the nearer to
/// `near` the sooner; a jump of more than a fifth of a period between neighbours is not crossed. Ends once a
/// flood has more than `enough` of what is usable.
Floods unwrap_in_floods(const Demodulated& d, cv::Point near, double enough);

/// The largest flood alone, NaN elsewhere.
cv::Mat largest_flood(const Floods& floods);

}  // namespace ripplegauge
