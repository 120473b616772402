// Orange peel is slope: it moves the stripes' edges sideways by what is left of the light beside the model's,
// over the profile's steepness.
#include "measure/peel_pattern.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <opencv2/imgproc.hpp>

#include "photo_look.hpp"

namespace ripplegauge {
namespace {

constexpr double cell_mm = 0.2;      ///< a wave of peel is one to some millimetres long
constexpr double slow_mm = 4;        ///< sigma of what is taken away: crown, light and the model's own errors
constexpr float steep_share = 0.5F;  ///< of the profile's steepest slope: flatter parts tell noise

/// Sums of shift and weight in each cell.
struct Sums {
  cv::Mat shift, weight;  ///< CV_32FC1
  cv::Point2d gradient;   ///< of the phase, over all of it
};

float steepest_of(const StripeProfile& profile) {
  constexpr int steps = 200;
  float steepest = 0;
  for (int i = 0; i < steps; ++i)
    steepest = std::max(steepest, std::abs(profile.at(static_cast<double>(i) / steps).derivative));
  return steepest;
}

Sums sums_of(const ResidualField& field, const PeelPattern& cells) {
  Sums sums{cv::Mat::zeros(cells.rows, cells.columns, CV_32FC1),
            cv::Mat::zeros(cells.rows, cells.columns, CV_32FC1),
            {}};
  const PanelGrid& grid = field.grid;
  const float least = steep_share * steepest_of(field.profile),
              most = static_cast<float>(4 * field.edge_jitter_cycles);  // dents and specks are no peel
  for (int r = 1; r + 1 < grid.rows; ++r)
    for (int c = 1; c + 1 < grid.columns; ++c) {
      if (field.inner.at<uchar>(r, c) == 0) continue;
      const cv::Mat& phase = field.phase_cycles;
      const float steepness = field.profile.at(phase.at<float>(r, c)).derivative;
      if (std::abs(steepness) < least) continue;
      const float shift = field.residual.at<float>(r, c) / steepness;
      if (!(std::abs(shift) < most)) continue;
      const int row = static_cast<int>(std::lround((grid.y_mm(r) - cells.first.y_mm) / cell_mm)),
                column = static_cast<int>(std::lround((grid.x_mm(c) - cells.first.x_mm) / cell_mm));
      if (row < 0 || column < 0 || row >= cells.rows || column >= cells.columns) continue;
      sums.shift.at<float>(row, column) += shift * steepness * steepness;
      sums.weight.at<float>(row, column) += steepness * steepness;
      sums.gradient += cv::Point2d(phase.at<float>(r, c + 1) - phase.at<float>(r, c - 1),
                                   phase.at<float>(r + 1, c) - phase.at<float>(r - 1, c));
    }
  return sums;
}

/// The means in the cells less their slow part.
std::vector<float> quick_part(const Sums& sums) {
  cv::Mat slow_shift, slow_weight;
  cv::GaussianBlur(sums.shift, slow_shift, {}, slow_mm / cell_mm);
  cv::GaussianBlur(sums.weight, slow_weight, {}, slow_mm / cell_mm);
  std::vector<float> quick;
  quick.reserve(sums.shift.total());
  for (int r = 0; r < sums.shift.rows; ++r)
    for (int c = 0; c < sums.shift.cols; ++c) {
      const float weight = sums.weight.at<float>(r, c);
      quick.push_back(weight > 0 ? sums.shift.at<float>(r, c) / weight -
                                       slow_shift.at<float>(r, c) / slow_weight.at<float>(r, c)
                                 : std::numeric_limits<float>::quiet_NaN());
    }
  return quick;
}

}  // namespace

PeelPattern peel_pattern(const Photo& photo, const MeasureRequest& request, const MeasureOptions& options) {
  const PhotoLook look = look_at_photo(photo, request, options);
  const ResidualField& field = look.residual;
  if (look.reading.refusal || field.grid.rows < 3 || field.grid.columns < 3) return {};
  PeelPattern pattern;
  pattern.cell_mm = cell_mm;
  pattern.first = {field.grid.x0_mm, field.grid.y0_mm};
  pattern.rows = static_cast<int>(field.grid.rows * field.grid.step_mm / cell_mm) + 1;
  pattern.columns = static_cast<int>(field.grid.columns * field.grid.step_mm / cell_mm) + 1;
  const Sums sums = sums_of(field, pattern);
  const double length = std::hypot(sums.gradient.x, sums.gradient.y);
  if (!(length > 0)) return {};
  pattern.slope_direction = {sums.gradient.x / length, sums.gradient.y / length};
  pattern.shift_cycles = quick_part(sums);
  return pattern;
}

}  // namespace ripplegauge
