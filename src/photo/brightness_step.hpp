#pragma once

#include <opencv2/core/mat.hpp>
#include <optional>

namespace ripplegauge::photo_detail {

/// The row at which the brightness of a decoded JPEG jumps, if it does. JPEG codes the mean of each block as
/// the difference to the block before (ITU-T T.81, F.1.2.1): one wrong bit there makes all that follows
/// brighter or darker, and a decoder sees nothing wrong. The jump runs along the coding units of `unit_px`,
/// row by row: once over the whole width, wherever it begins. Means of blocks are coded in whole steps of
/// `mean_step_grey`.
std::optional<int> brightness_step(const cv::Mat& grey, cv::Size unit_px, double mean_step_grey);

}  // namespace ripplegauge::photo_detail
