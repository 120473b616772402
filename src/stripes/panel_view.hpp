// The panel seen square-on: a grid in the card frame with the photo's linear light and the model's stripe
// phase.
#pragma once

#include <cmath>
#include <opencv2/core/mat.hpp>
#include <opencv2/core/utility.hpp>

#include "panel/bundle.hpp"
#include "ripplegauge/core/card_definition.hpp"

namespace ripplegauge {

/// A regular grid in the card frame: column c, row r stand for (x0_mm + c step_mm, y0_mm + r step_mm).
struct PanelGrid {
  double x0_mm = 0, y0_mm = 0, step_mm = 1;
  int columns = 0, rows = 0;
  double x_mm(double column) const { return x0_mm + column * step_mm; }
  double y_mm(double row) const { return y0_mm + row * step_mm; }
  double column_of(double x) const { return (x - x0_mm) / step_mm; }
  double row_of(double y) const { return (y - y0_mm) / step_mm; }
  bool contains(int row, int column) const {
    return row >= 0 && column >= 0 && row < rows && column < columns;
  }
  /// The cells of a box, as a grid of their own.
  PanelGrid part(const cv::Rect& box) const {
    return {x_mm(box.x), y_mm(box.y), step_mm, box.width, box.height};
  }
  /// The cells within `reach_mm` of a place, to the left and right and up and down.
  cv::Rect box_around(double x, double y, double reach_mm) const {
    const cv::Point from(static_cast<int>(std::floor(column_of(x - reach_mm))),
                         static_cast<int>(std::floor(row_of(y - reach_mm))));
    const int side = static_cast<int>(std::ceil(2 * reach_mm / step_mm)) + 1;
    return cv::Rect(from, cv::Size(side, side)) & cv::Rect(0, 0, columns, rows);
  }
};

PanelGrid grid_around(double x0_mm, double y0_mm, double x1_mm, double y1_mm, double step_mm);

/// Light of a fully exposed pixel: samples above count as clipped ("at least this bright").
inline constexpr float clipped_light = 0.93F;

/// A photo in linear light, averaged over factor x factor blocks: CV_32FC1 in [0, 1]. Block (r, c) covers the
/// full photo's pixels factor r ... factor r + factor - 1 from `origin_px` on.
class ReducedLight {
 public:
  ReducedLight(const cv::Mat& grey, int factor, cv::Rect region_px);
  /// Bilinear samples at `count` places in full-photo pixel coordinates; -1 outside.
  void sample(const float* u_px, const float* v_px, int count, float* out) const;
  float sample(float u_px, float v_px) const {
    float light = -1;
    sample(&u_px, &v_px, 1, &light);
    return light;
  }

 private:
  cv::Mat light_;
  int factor_;
  cv::Point origin_px_;
};

/// Pixel and phase of a grid's nodes, row by row: exact on every eighth node, bilinear between (their second
/// differences over eight steps of half a millimetre are below 0.01 px and 0.001 cycles); exact on every node
/// of a folded panel.
class PanelRows {
 public:
  PanelRows(const PanelModel<double>& model, const PanelGrid& grid);
  /// `columns` values each.
  void pixels(int row, float* u_px, float* v_px) const;
  void phases(int row, float* cycles) const;
  /// The light there; -1 outside the photo and where `covered` (CV_8UC1) is not 0.
  void light(const ReducedLight& photo, const cv::Mat& covered, int row, float* out) const;

 private:
  int columns_, stride_;
  cv::Mat u_px_, v_px_, phase_cycles_;  ///< of every stride-th node, CV_64FC1
};

/// The same for the whole grid: CV_32FC1 each, grid rows x columns.
struct PanelMaps {
  cv::Mat u_px, v_px, phase_cycles;
};
PanelMaps panel_maps(const PanelModel<double>& model, const PanelGrid& grid);

/// Calls work(from, to) for pieces of the rows 0 ... count - 1, on OpenCV's threads as its own filters do:
/// rows must not depend on each other.
template <class Work>
void for_rows(int count, const Work& work) {
  cv::parallel_for_(cv::Range(0, count), [&](const cv::Range& rows) { work(rows.start, rows.end); });
}

/// The light of the grid from the photo, low-passed to the grid's step; -1 where the photo does not reach.
cv::Mat sample_light(const ReducedLight& light, const PanelMaps& maps);

/// Which block size suits a grid step: the largest that keeps at least 1.4 blocks a step.
int reduction_for(double step_mm, double pixels_per_mm);

/// 1 on paper (grown by margin), else 0; CV_8UC1.
cv::Mat paper_mask(const CardDefinition& card, double card_scale, const PanelGrid& grid, double margin_mm);

/// 1 where the board's tags and their white margins are mirrored, as the model has them; all 0 while the
/// board's pose is not known from tags. CV_8UC1.
cv::Mat board_tag_mask(const BundleProblem& problem, const PanelModel<double>& model, const PanelGrid& grid);

/// 1 along body lines, where the fold's own shape, which is known roughly, bends stripes more than a dent,
/// and so far beside it; CV_8UC1.
cv::Mat fold_mask(const PanelModel<double>& model, const PanelGrid& grid, double margin_mm = 0);

/// On which side of each body line a cell lies: bit i is set beyond the i-th; all 0 on a panel without.
/// CV_8UC1.
cv::Mat sides_of_folds(const PanelModel<double>& model, const PanelGrid& grid);

/// The convex hull of what a mask has on each side of the lines, without connected parts there that are
/// smaller than this share of the largest one. CV_8UC1.
cv::Mat hulls_by_side(const cv::Mat& mask, const cv::Mat& sides, double share = 0);

/// A mask without its connected parts smaller than this share of the largest one; CV_8UC1.
cv::Mat larger_parts(const cv::Mat& mask, double share);

/// The cells of `grid` as the nearest ones of `mask`, whose grid is `of`, are; 0 beyond it. CV_8UC1.
cv::Mat nearest_cells(const cv::Mat& mask, const PanelGrid& of, const PanelGrid& grid);

/// 255 inside the convex hull of what is not 0, else 0; CV_8UC1.
cv::Mat filled_hull(const cv::Mat& mask);

/// A disc of cells, to dilate, erode, open or close masks by.
cv::Mat disc_of(int radius_cells);

/// Gaussian blur for large sigma at the price of a small one: on a reduced copy. CV_32FC1.
cv::Mat smooth(const cv::Mat& image, double sigma_px);

}  // namespace ripplegauge
