#pragma once

#include <functional>
#include <opencv2/core/mat.hpp>
#include <string>

#include "advice/plan.hpp"
#include "sheet/sheet.hpp"
#include "words/units.hpp"

namespace ripplegauge {

/// The panel as a photo shows it, seen squarely (CV_8UC3): a rectangle round `centre` (card frame), turned so
/// that the card's direction `along_deg` runs to the right. Empty where the photo cannot show it.
using PanelView = std::function<cv::Mat(PointMm centre, double along_deg, double width_mm, double height_mm,
                                        double pixels_per_mm)>;

/// The plan to take to the panel, all of it to be read at arm's length (10 points or more). Page 1: the ten
/// lines, and the only spot at true size with crosses, the tab's face and the lifter's feet, or a map of
/// several. Then every step to tick, each caution before the step that it belongs to.
std::string plan_sheet_pdf(const Plan& plan, Paper paper, const PanelView& view = {},
                           const ShownUnits& units = {});

}  // namespace ripplegauge
