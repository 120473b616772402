// How near to a spot the panel ends: the nearest cell where something ends the stripes.
#include "panel_end.hpp"

#include <cmath>
#include <limits>
#include <opencv2/imgproc.hpp>

#include "format.hpp"
#include "ripplegauge/core/findings.hpp"

namespace ripplegauge {
namespace {

/// Share of the cells round a part, from where its blurred rim ends, in which stripes are followed.
double share_followed_round(const cv::Mat& part, const StripeField& field) {
  constexpr int rim_cells = 4;
  constexpr double out_periods = 0.75;
  const auto grown = [&](int cells) {
    cv::Mat wider;
    cv::dilate(part, wider, disc_of(cells));
    return wider;
  };
  const int out_cells = std::max(2, static_cast<int>(out_periods * field.period_mm / field.grid.step_mm));
  const cv::Mat ring = grown(rim_cells + out_cells) & ~grown(rim_cells);
  return static_cast<double>(cv::countNonZero(ring & (field.followed != 0))) /
         std::max(1, cv::countNonZero(ring));
}

/// From a place to the nearest cell that ends the panel, mm; infinite where none does.
double nearest_end_mm(const PanelEnds& ends, double x_mm, double y_mm) {
  double nearest_mm = std::numeric_limits<double>::infinity();
  for (const CoveredPart& part : ends.parts)
    for (const cv::Point& cell : part.cells)
      nearest_mm =
          std::min(nearest_mm, std::hypot(ends.grid.x_mm(cell.x) - x_mm, ends.grid.y_mm(cell.y) - y_mm));
  return nearest_mm;
}

}  // namespace

PanelEnds panel_ends(const StripeField& field) {
  // Rendered photos: badges and stickers have stripes all round, what lies at the board's end over a half at
  // most.
  constexpr double nearly_all_round = 0.7, most_of_the_way = 0.6;
  PanelEnds found{field.grid, field.period_mm, {}};
  if (field.ends.empty()) return found;
  const cv::Rect stripes = cv::boundingRect(field.followed);
  cv::Mat labels, stats, centres;
  const int parts = cv::connectedComponentsWithStats(field.ends, labels, stats, centres, 8, CV_32S);
  for (int i = 1; i < parts; ++i) {
    const double length_cells =
        std::hypot(stats.at<int>(i, cv::CC_STAT_WIDTH), stats.at<int>(i, cv::CC_STAT_HEIGHT));
    const cv::Mat mask = labels == i;
    const bool enclosed = share_followed_round(mask, field) > nearly_all_round,
               across = length_cells > most_of_the_way * std::hypot(stripes.width, stripes.height);
    if (!enclosed && !across) continue;
    CoveredPart& part = found.parts.emplace_back();
    part.x_mm = field.grid.x_mm(centres.at<double>(i, 0));
    part.y_mm = field.grid.y_mm(centres.at<double>(i, 1));
    part.length_mm = field.grid.step_mm * length_cells;
    part.enclosed = enclosed;
    cv::findNonZero(mask, part.cells);
  }
  return found;
}

void tell_panel_ends(const std::vector<PanelEnds>& of_photos, std::vector<Dent>& dents) {
  for (Dent& dent : dents) {
    double nearest_mm = std::numeric_limits<double>::infinity(), unsure_mm = 0;
    for (const PanelEnds& ends : of_photos) {
      const double here_mm = nearest_end_mm(ends, dent.x_mm, dent.y_mm);
      if (here_mm >= nearest_mm) continue;
      nearest_mm = here_mm;
      // A dark gap runs into a dark stripe: up to half a period, on one side or the other.
      unsure_mm = 0.5 * ends.period_mm + ends.grid.step_mm;
    }
    if (!std::isinf(nearest_mm))
      dent.panel_end_mm = Quantity{nearest_mm, std::max(0.0, nearest_mm - unsure_mm), nearest_mm + unsure_mm};
  }
}

std::vector<Warning> covered_places(const PanelEnds& ends) {
  // Longer than the largest dents with a stripe at either end; shorter than what is taken for a dent.
  constexpr double largest_mm = 80, smallest_mm = 6;
  std::vector<Warning> warnings;
  for (const CoveredPart& part : ends.parts) {
    if (!part.enclosed || part.length_mm < smallest_mm || part.length_mm > largest_mm) continue;
    warnings.push_back(
        {code_of(PhotoFinding::not_all_measured),
         format("No stripes are mirrored at x %.0f, y %.0f mm, over %.0f mm: a badge or a sticker, or a dent "
                "so deep that the board's light is lost. That place was not judged.",
                part.x_mm, part.y_mm, part.length_mm)});
  }
  return warnings;
}

}  // namespace ripplegauge
