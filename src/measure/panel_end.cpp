// How near to a spot the panel ends: the nearest cell where something ends the stripes.
#include "panel_end.hpp"

#include <cmath>
#include <limits>
#include <opencv2/imgproc.hpp>

#include "format.hpp"
#include "ripplegauge/core/findings.hpp"

namespace ripplegauge {
namespace {

/// From a place to the nearest cell that ends the panel, mm; infinite where none does.
double nearest_end_mm(const StripeField& field, double x_mm, double y_mm) {
  const PanelGrid& grid = field.grid;
  double nearest_mm = std::numeric_limits<double>::infinity();
  for (int r = 0; r < field.ends.rows; ++r)
    for (int c = 0; c < field.ends.cols; ++c)
      if (field.ends.at<uchar>(r, c) != 0)
        nearest_mm = std::min(nearest_mm, std::hypot(grid.x_mm(c) - x_mm, grid.y_mm(r) - y_mm));
  return nearest_mm;
}

}  // namespace

void tell_panel_ends(const std::vector<const StripeField*>& fields, std::vector<Dent>& dents) {
  for (Dent& dent : dents) {
    double nearest_mm = std::numeric_limits<double>::infinity(), unsure_mm = 0;
    for (const StripeField* field : fields) {
      const double here_mm = nearest_end_mm(*field, dent.x_mm, dent.y_mm);
      if (here_mm >= nearest_mm) continue;
      nearest_mm = here_mm;
      // A dark gap runs into a dark stripe: up to half a period, on one side or the other.
      unsure_mm = 0.5 * field->period_mm + field->grid.step_mm;
    }
    if (!std::isinf(nearest_mm))
      dent.panel_end_mm = Quantity{nearest_mm, std::max(0.0, nearest_mm - unsure_mm), nearest_mm + unsure_mm};
  }
}

std::vector<Warning> covered_places(const StripeField& field) {
  // Longer than the largest dents with a stripe at either end; shorter than what is taken for a dent.
  constexpr double largest_mm = 80, smallest_mm = 6;
  std::vector<Warning> warnings;
  if (field.ends.empty()) return warnings;
  cv::Mat labels, stats, centres;
  const int parts = cv::connectedComponentsWithStats(field.ends, labels, stats, centres, 8, CV_32S);
  for (int i = 1; i < parts; ++i) {
    const double length_mm = field.grid.step_mm * std::hypot(stats.at<int>(i, cv::CC_STAT_WIDTH),
                                                             stats.at<int>(i, cv::CC_STAT_HEIGHT));
    if (length_mm < smallest_mm || length_mm > largest_mm) continue;
    warnings.push_back(
        {code_of(PhotoFinding::not_all_measured),
         format("No stripes are mirrored at x %.0f, y %.0f mm, over %.0f mm: a badge or a sticker, or a dent "
                "so deep that the board's light is lost. That place was not judged.",
                field.grid.x_mm(centres.at<double>(i, 0)), field.grid.y_mm(centres.at<double>(i, 1)),
                length_mm)});
  }
  return warnings;
}

}  // namespace ripplegauge
