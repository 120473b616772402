#include "ripplegauge/stripes/panel_view.hpp"

#include <algorithm>
#include <cmath>
#include <opencv2/imgproc.hpp>

#include "ripplegauge/core/linear_light.hpp"

namespace ripplegauge {

PanelGrid grid_around(double x0_mm, double y0_mm, double x1_mm, double y1_mm, double step_mm) {
  PanelGrid grid{x0_mm, y0_mm, step_mm, 0, 0};
  grid.columns = std::max(2, static_cast<int>(std::lround((x1_mm - x0_mm) / step_mm)) + 1);
  grid.rows = std::max(2, static_cast<int>(std::lround((y1_mm - y0_mm) / step_mm)) + 1);
  return grid;
}

ReducedLight::ReducedLight(const cv::Mat& grey, int factor, cv::Rect region_px) : factor_(factor) {
  region_px &= cv::Rect(0, 0, grey.cols, grey.rows);
  origin_px_ = region_px.tl();
  const auto& linear = linear_from_srgb8();
  light_.create(region_px.height / factor, region_px.width / factor, CV_32FC1);
  const float norm = 1.0F / static_cast<float>(factor * factor);
  for (int r = 0; r < light_.rows; ++r) {
    float* out = light_.ptr<float>(r);
    std::fill(out, out + light_.cols, 0.0F);
    for (int k = 0; k < factor; ++k) {
      const uchar* in = grey.ptr<uchar>(origin_px_.y + r * factor + k) + origin_px_.x;
      for (int c = 0; c < light_.cols; ++c, in += factor)
        for (int j = 0; j < factor; ++j) out[c] += linear[in[j]];
    }
    for (int c = 0; c < light_.cols; ++c) out[c] *= norm;
  }
}

float ReducedLight::sample(double u_px, double v_px) const {
  const double shift = 0.5 * (factor_ - 1);
  const double x = (u_px - origin_px_.x - shift) / factor_, y = (v_px - origin_px_.y - shift) / factor_;
  if (!(x >= 0 && y >= 0 && x < light_.cols - 1 && y < light_.rows - 1)) return -1.0F;
  const int i = static_cast<int>(x), j = static_cast<int>(y);
  const float fx = static_cast<float>(x - i), fy = static_cast<float>(y - j);
  const float* a = light_.ptr<float>(j) + i;
  const float* b = light_.ptr<float>(j + 1) + i;
  return (a[0] * (1 - fx) + a[1] * fx) * (1 - fy) + (b[0] * (1 - fx) + b[1] * fx) * fy;
}

namespace {

/// Maps are exact on every eighth node of a grid and bilinear between.
constexpr int stride = 8;

cv::Size coarse_size(const PanelGrid& grid) {
  return {(grid.columns + stride - 2) / stride + 1, (grid.rows + stride - 2) / stride + 1};
}

cv::Mat expand(const cv::Mat& coarse, const PanelGrid& grid) {
  cv::Mat fine(grid.rows, grid.columns, CV_32FC1);
  for (int r = 0; r < grid.rows; ++r) {
    const int r0 = std::min(r / stride, coarse.rows - 2);
    const double fr = static_cast<double>(r - r0 * stride) / stride;
    const double *a = coarse.ptr<double>(r0), *b = coarse.ptr<double>(r0 + 1);
    float* out = fine.ptr<float>(r);
    for (int c = 0; c < grid.columns; ++c) {
      const int c0 = std::min(c / stride, coarse.cols - 2);
      const double fc = static_cast<double>(c - c0 * stride) / stride;
      out[c] = static_cast<float>((a[c0] * (1 - fc) + a[c0 + 1] * fc) * (1 - fr) +
                                  (b[c0] * (1 - fc) + b[c0 + 1] * fc) * fr);
    }
  }
  return fine;
}

}  // namespace

PanelMaps panel_maps(const PanelModel<double>& model, const PanelGrid& grid) {
  cv::Mat u(coarse_size(grid), CV_64FC1), v = u.clone(), phase = u.clone();
  for (int r = 0; r < u.rows; ++r)
    for (int c = 0; c < u.cols; ++c) {
      const double x = grid.x_mm(c * stride), y = grid.y_mm(r * stride);
      const auto pixel = model.pixel_from_panel(x, y);
      u.at<double>(r, c) = pixel.u_px;
      v.at<double>(r, c) = pixel.v_px;
      phase.at<double>(r, c) = model.phase(x, y, 0.0, 0.0);
    }
  return {expand(u, grid), expand(v, grid), expand(phase, grid)};
}

cv::Mat board_tag_mask(const BundleProblem& problem, const PanelModel<double>& model, const PanelGrid& grid) {
  cv::Mat mask = cv::Mat::zeros(grid.rows, grid.columns, CV_8UC1);
  if (problem.board_corners.empty()) return mask;
  cv::Mat x(coarse_size(grid), CV_64FC1), y = x.clone();
  for (int r = 0; r < x.rows; ++r)
    for (int c = 0; c < x.cols; ++c) {
      const auto q = model.board_frame_from_panel(grid.x_mm(c * stride), grid.y_mm(r * stride));
      x.at<double>(r, c) = q.x_mm, y.at<double>(r, c) = q.y_mm;
    }
  x = expand(x, grid), y = expand(y, grid);
  constexpr double margin_of_side = 1.5 / 8;  // a white margin of one cell, and half a cell for blur
  for (const BoardTag& tag : problem.board_tags) {
    const double half = (0.5 + margin_of_side) * tag.side_mm;
    mask |= (cv::abs(x - tag.x_mm) < half) & (cv::abs(y - tag.y_mm) < half) & 1;
  }
  return mask;
}

cv::Mat sample_light(const ReducedLight& light, const PanelMaps& maps) {
  cv::Mat out(maps.u_px.size(), CV_32FC1);
  for (int r = 0; r < out.rows; ++r) {
    const float *u = maps.u_px.ptr<float>(r), *v = maps.v_px.ptr<float>(r);
    float* o = out.ptr<float>(r);
    for (int c = 0; c < out.cols; ++c) o[c] = light.sample(u[c], v[c]);
  }
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
