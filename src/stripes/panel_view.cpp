// The panel square-on: which pixel and which phase each cell of a grid has, exactly on some, linearly
// between.
#include "stripes/panel_view.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <iterator>
#include <opencv2/imgproc.hpp>
#include <type_traits>
#include <utility>
#include <vector>

#include "core/linear_light.hpp"
#include "sample_kernel.hpp"

namespace ripplegauge {

PanelGrid grid_around(double x0_mm, double y0_mm, double x1_mm, double y1_mm, double step_mm) {
  PanelGrid grid{x0_mm, y0_mm, step_mm, 0, 0};
  grid.columns = std::max(2, static_cast<int>(std::lround((x1_mm - x0_mm) / step_mm)) + 1);
  grid.rows = std::max(2, static_cast<int>(std::lround((y1_mm - y0_mm) / step_mm)) + 1);
  return grid;
}

namespace {

/// Means of linear light over the blocks of one row of blocks.
template <class Factor>
void block_means(const cv::Mat& grey, cv::Point corner, Factor factor, float* out, int blocks) {
  const float* linear = linear_from_srgb8().data();
  const float norm = 1.0F / static_cast<float>(factor * factor);
  std::fill(out, out + blocks, 0.0F);
  for (int k = 0; k < factor; ++k) {
    const uchar* in = grey.ptr<uchar>(corner.y + k) + corner.x;
    for (int c = 0; c < blocks; ++c, in += factor) {
      float sum = linear[in[0]];
      for (int j = 1; j < factor; ++j) sum += linear[in[j]];
      out[c] += sum;
    }
  }
  for (int c = 0; c < blocks; ++c) out[c] *= norm;
}

/// The same where the compiler knows the factor, so that no loop over a block's pixels is left.
template <int factor>
void known_block_means(const cv::Mat& grey, cv::Point corner, float* out, int blocks) {
  block_means(grey, corner, std::integral_constant<int, factor>{}, out, blocks);
}

using KnownBlockMeans = void (*)(const cv::Mat& grey, cv::Point corner, float* out, int blocks);
template <int... i>
constexpr std::array<KnownBlockMeans, sizeof...(i)> known_factors(std::integer_sequence<int, i...>) {
  return {known_block_means<i + 1>...};
}
constexpr int most_known = 16;
/// For factors from 1 on.
constexpr auto known = known_factors(std::make_integer_sequence<int, most_known>());

}  // namespace

ReducedLight::ReducedLight(const cv::Mat& grey, int factor, cv::Rect region_px) : factor_(factor) {
  region_px &= cv::Rect(0, 0, grey.cols, grey.rows);
  origin_px_ = region_px.tl();
  light_.create(region_px.height / factor, region_px.width / factor, CV_32FC1);
  for_rows(light_.rows, [&](int from, int to) {
    for (int r = from; r < to; ++r) {
      const cv::Point corner(origin_px_.x, origin_px_.y + r * factor);
      float* out = light_.ptr<float>(r);
      if (factor <= most_known)
        known[static_cast<std::size_t>(factor - 1)](grey, corner, out, light_.cols);
      else
        block_means(grey, corner, factor, out, light_.cols);
    }
  });
}

void ReducedLight::sample(const float* u_px, const float* v_px, int count, float* out) const {
  const float shift = 0.5F * static_cast<float>(factor_ - 1);
  const kernel::Raster blocks{light_.ptr<float>(), static_cast<int>(light_.step1()), light_.cols,
                              light_.rows};
  kernel::sample(blocks,
                 {static_cast<float>(origin_px_.x) + shift, static_cast<float>(origin_px_.y) + shift,
                  1.0F / static_cast<float>(factor_)},
                 u_px, v_px, count, out);
}

namespace {

/// Maps are exact on every eighth node of a grid and bilinear between; a fold changes within a few nodes.
constexpr int usual_stride = 8;

cv::Mat coarse_map(const PanelGrid& grid, int stride) {
  return cv::Mat((grid.rows + stride - 2) / stride + 1, (grid.columns + stride - 2) / stride + 1, CV_64FC1);
}

/// One row of a grid of `columns` from what is known of every stride-th node.
void expand_row(const cv::Mat& coarse, int stride, int row, int columns, float* out) {
  const int r0 = std::min(row / stride, coarse.rows - 2);
  const double fr = static_cast<double>(row - r0 * stride) / stride;
  const double *a = coarse.ptr<double>(r0), *b = coarse.ptr<double>(r0 + 1);
  double left = a[0] + (b[0] - a[0]) * fr;
  for (int c = 0, node = 1; c < columns; c += stride, ++node) {
    // The last column may be a node itself: nothing lies beyond it.
    const double right = node < coarse.cols ? a[node] + (b[node] - a[node]) * fr : left,
                 step = (right - left) / stride;
    const auto fill = [&](auto n) {
      for (int k = 0; k < n; ++k) out[c + k] = static_cast<float>(left + step * k);
    };
    if (stride == usual_stride && c + stride <= columns)
      fill(std::integral_constant<int, usual_stride>{});
    else
      fill(std::min(stride, columns - c));
    left = right;
  }
}

}  // namespace

PanelRows::PanelRows(const PanelModel<double>& model, const PanelGrid& grid)
    : columns_(grid.columns),
      stride_(model.surface().folds().empty() ? usual_stride : 1),
      u_px_(coarse_map(grid, stride_)),
      v_px_(coarse_map(grid, stride_)),
      phase_cycles_(coarse_map(grid, stride_)) {
  for_rows(u_px_.rows, [&](int from, int to) {
    for (int r = from; r < to; ++r)
      for (int c = 0; c < u_px_.cols; ++c) {
        const double x = grid.x_mm(c * stride_), y = grid.y_mm(r * stride_);
        const auto pixel = model.pixel_from_panel(x, y);
        u_px_.at<double>(r, c) = pixel.u_px;
        v_px_.at<double>(r, c) = pixel.v_px;
        phase_cycles_.at<double>(r, c) = model.phase(x, y, 0.0, 0.0);
      }
  });
}

void PanelRows::pixels(int row, float* u_px, float* v_px) const {
  expand_row(u_px_, stride_, row, columns_, u_px);
  expand_row(v_px_, stride_, row, columns_, v_px);
}

void PanelRows::phases(int row, float* cycles) const {
  expand_row(phase_cycles_, stride_, row, columns_, cycles);
}

void PanelRows::light(const ReducedLight& photo, const cv::Mat& covered, int row, float* out) const {
  std::vector<float> u(static_cast<std::size_t>(columns_)), v(u);
  pixels(row, u.data(), v.data());
  photo.sample(u.data(), v.data(), columns_, out);
  const uchar* hidden = covered.ptr<uchar>(row);
  for (int c = 0; c < columns_; ++c) out[c] = hidden[c] != 0 ? -1.0F : out[c];
}

PanelMaps panel_maps(const PanelModel<double>& model, const PanelGrid& grid) {
  const PanelRows rows(model, grid);
  const cv::Size size(grid.columns, grid.rows);
  PanelMaps maps{cv::Mat(size, CV_32FC1), cv::Mat(size, CV_32FC1), cv::Mat(size, CV_32FC1)};
  for_rows(grid.rows, [&](int from, int to) {
    for (int r = from; r < to; ++r) {
      rows.pixels(r, maps.u_px.ptr<float>(r), maps.v_px.ptr<float>(r));
      rows.phases(r, maps.phase_cycles.ptr<float>(r));
    }
  });
  return maps;
}

cv::Mat board_tag_mask(const BundleProblem& problem, const PanelModel<double>& model, const PanelGrid& grid) {
  cv::Mat mask = cv::Mat::zeros(grid.rows, grid.columns, CV_8UC1);
  if (problem.board_corners.empty()) return mask;
  cv::Mat x = coarse_map(grid, usual_stride), y = x.clone();
  for (int r = 0; r < x.rows; ++r)
    for (int c = 0; c < x.cols; ++c) {
      const auto q = model.board_frame_from_panel(grid.x_mm(c * usual_stride), grid.y_mm(r * usual_stride));
      x.at<double>(r, c) = q.x_mm, y.at<double>(r, c) = q.y_mm;
    }
  constexpr double margin_of_side = 1.5 / 8;  // a white margin of one cell, and half a cell for blur
  for_rows(grid.rows, [&](int from, int to) {
    std::vector<float> board_x(static_cast<std::size_t>(grid.columns)), board_y(board_x);
    for (int r = from; r < to; ++r) {
      expand_row(x, usual_stride, r, grid.columns, board_x.data()),
          expand_row(y, usual_stride, r, grid.columns, board_y.data());
      uchar* out = mask.ptr<uchar>(r);
      for (const BoardTag& tag : problem.board_tags) {
        const auto half = static_cast<float>((0.5 + margin_of_side) * tag.side_mm);
        const auto tag_x = static_cast<float>(tag.x_mm), tag_y = static_cast<float>(tag.y_mm);
        for (std::size_t c = 0; c < board_x.size(); ++c)
          if (std::abs(board_x[c] - tag_x) < half && std::abs(board_y[c] - tag_y) < half) out[c] = 1;
      }
    }
  });
  return mask;
}

cv::Mat fold_mask(const PanelModel<double>& model, const PanelGrid& grid, double margin_mm) {
  cv::Mat mask = cv::Mat::zeros(grid.rows, grid.columns, CV_8UC1);
  // A logistic curve's tail is exp(-t / width) of the turn; other roundings differ from it by a good part of
  // that. Where it is less than any dent's slope, the fold's own shape no longer matters.
  constexpr double uncertain_part = 0.15, no_dent_slope = 0.001, blur_mm = 1;
  for (const PlacedFold<double>& line : model.surface().folds()) {
    const double widths =
        std::max(0.0, std::log(uncertain_part * std::abs(line.fold().turn) / no_dent_slope));
    const double half_mm = widths * std::exp(line.fold().log_width) + blur_mm + margin_mm;
    for (int r = 0; r < grid.rows; ++r)
      for (int c = 0; c < grid.columns; ++c)
        if (std::abs(line.across_mm(grid.x_mm(c), grid.y_mm(r))) < half_mm) mask.at<uchar>(r, c) = 1;
  }
  return mask;
}

cv::Mat sides_of_folds(const PanelModel<double>& model, const PanelGrid& grid) {
  cv::Mat sides = cv::Mat::zeros(grid.rows, grid.columns, CV_8UC1);
  int bit = 1;
  for (const PlacedFold<double>& line : model.surface().folds()) {
    for (int r = 0; r < grid.rows; ++r)
      for (int c = 0; c < grid.columns; ++c)
        if (line.across_mm(grid.x_mm(c), grid.y_mm(r)) > 0)
          sides.at<uchar>(r, c) = static_cast<uchar>(sides.at<uchar>(r, c) | bit);
    bit *= 2;
  }
  return sides;
}

cv::Mat hulls_by_side(const cv::Mat& mask, const cv::Mat& sides, double share) {
  cv::Mat hulls = cv::Mat::zeros(mask.size(), CV_8UC1);
  constexpr int most_sides = 1 << most_folds;
  for (int side = 0; side < most_sides; ++side)
    if (const cv::Mat here = mask & (sides == side); cv::countNonZero(here) > 0)
      hulls |= filled_hull(larger_parts(here, share));
  return hulls;
}

cv::Mat sample_light(const ReducedLight& light, const PanelMaps& maps) {
  cv::Mat out(maps.u_px.size(), CV_32FC1);
  for_rows(out.rows, [&](int from, int to) {
    for (int r = from; r < to; ++r)
      light.sample(maps.u_px.ptr<float>(r), maps.v_px.ptr<float>(r), out.cols, out.ptr<float>(r));
  });
  return out;
}

int reduction_for(double step_mm, double pixels_per_mm) {
  return std::max(1, static_cast<int>(step_mm * pixels_per_mm / 1.4));
}

cv::Mat paper_mask(const CardDefinition& card, double card_scale, const PanelGrid& grid, double margin_mm) {
  cv::Mat mask = cv::Mat::zeros(grid.rows, grid.columns, CV_8UC1);
  for (const RectangleMm& paper : card.paper) {
    const int c0 = static_cast<int>(std::ceil(grid.column_of(paper.x0_mm * card_scale - margin_mm)));
    const int c1 = static_cast<int>(std::floor(grid.column_of(paper.x1_mm * card_scale + margin_mm)));
    const int r0 = static_cast<int>(std::ceil(grid.row_of(paper.y0_mm * card_scale - margin_mm)));
    const int r1 = static_cast<int>(std::floor(grid.row_of(paper.y1_mm * card_scale + margin_mm)));
    const cv::Rect box = cv::Rect(c0, r0, c1 - c0 + 1, r1 - r0 + 1) & cv::Rect(0, 0, grid.columns, grid.rows);
    if (c1 >= c0 && r1 >= r0 && box.area() > 0) mask(box).setTo(1);
  }
  return mask;
}

cv::Mat larger_parts(const cv::Mat& mask, double share) {
  cv::Mat labels, stats, centres, larger = mask.clone();
  const int parts = cv::connectedComponentsWithStats(mask, labels, stats, centres, 8, CV_32S);
  int largest = 0;
  for (int part = 1; part < parts; ++part) largest = std::max(largest, stats.at<int>(part, cv::CC_STAT_AREA));
  for (int part = 1; part < parts; ++part)
    if (stats.at<int>(part, cv::CC_STAT_AREA) < share * largest) larger.setTo(0, labels == part);
  return larger;
}

cv::Mat nearest_cells(const cv::Mat& mask, const PanelGrid& of, const PanelGrid& grid) {
  cv::Mat out = cv::Mat::zeros(grid.rows, grid.columns, CV_8UC1);
  std::vector<int> column(static_cast<std::size_t>(grid.columns));
  for (int c = 0; c < grid.columns; ++c)
    column[static_cast<std::size_t>(c)] = static_cast<int>(std::lround(of.column_of(grid.x_mm(c))));
  for (int r = 0; r < grid.rows; ++r) {
    const int row = static_cast<int>(std::lround(of.row_of(grid.y_mm(r))));
    if (row < 0 || row >= mask.rows) continue;
    const uchar* from = mask.ptr<uchar>(row);
    uchar* to = out.ptr<uchar>(r);
    for (std::size_t c = 0; c < column.size(); ++c)
      if (column[c] >= 0 && column[c] < mask.cols) to[c] = from[column[c]];
  }
  return out;
}

cv::Mat filled_hull(const cv::Mat& mask) {
  cv::Mat filled = cv::Mat::zeros(mask.size(), CV_8UC1);
  std::vector<cv::Point> ends, hull;  // no other cell of a row can be a corner
  for (int r = 0; r < mask.rows; ++r) {
    const uchar *row = mask.ptr<uchar>(r), *end = row + mask.cols;
    const auto set = [](uchar cell) { return cell != 0; };
    const uchar* first = std::find_if(row, end, set);
    if (first == end) continue;
    const uchar* last = std::find_if(std::reverse_iterator(end), std::reverse_iterator(row), set).base() - 1;
    ends.emplace_back(static_cast<int>(first - row), r);
    ends.emplace_back(static_cast<int>(last - row), r);
  }
  if (ends.empty()) return filled;
  cv::convexHull(ends, hull);
  cv::fillConvexPoly(filled, hull, 255);
  return filled;
}

cv::Mat disc_of(int radius_cells) {
  const int side = 2 * radius_cells + 1;
  return cv::getStructuringElement(cv::MORPH_ELLIPSE, cv::Size(side, side));
}

cv::Mat smooth(const cv::Mat& image, double sigma_px) {
  const int factor = std::max(1, static_cast<int>(sigma_px / 3));
  cv::Mat out;
  if (factor == 1) {
    cv::GaussianBlur(image, out, cv::Size(), sigma_px, sigma_px, cv::BORDER_CONSTANT);
    return out;
  }
  cv::Mat small;
  cv::resize(image, small, cv::Size(std::max(1, image.cols / factor), std::max(1, image.rows / factor)), 0, 0,
             cv::INTER_AREA);
  cv::GaussianBlur(small, small, cv::Size(), sigma_px / factor, sigma_px / factor, cv::BORDER_CONSTANT);
  cv::resize(small, out, image.size(), 0, 0, cv::INTER_LINEAR);
  return out;
}

}  // namespace ripplegauge
