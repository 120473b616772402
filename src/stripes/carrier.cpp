// A stripe's frequency and direction hang together by the mirror: the board may be turned any way about its
// normal, and for each turn the geometry predicts one frequency. The spectrum's peak is looked for near
// those.
#include "carrier.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <numeric>
#include <opencv2/imgproc.hpp>
#include <vector>

#include "core/quantile.hpp"
#include "stripes/block_means.hpp"

namespace ripplegauge {
namespace {

/// exp(-(i - middle)^2 / 2 sigma^2) for i = 0 ... count - 1, a column.
cv::Mat gaussian(int count, double middle, double sigma) {
  cv::Mat out(count, 1, CV_32FC1);
  for (int i = 0; i < count; ++i)
    out.at<float>(i) = static_cast<float>(std::exp(-0.5 * std::pow((i - middle) / sigma, 2)));
  return out;
}

/// Light over its local standard deviation about the local mean; 0 where covered.
cv::Mat local_contrast(const ReducedLight& light, const cv::Mat& covered, const PanelRows& rows,
                       double sigma) {
  cv::Mat weight(covered.size(), CV_32FC1), detail = weight.clone(), square = weight.clone();
  for_rows(detail.rows, [&](int from, int to) {
    for (int r = from; r < to; ++r) {
      float *out = detail.ptr<float>(r), *w = weight.ptr<float>(r);
      rows.light(light, covered, r, out);
      for (int c = 0; c < detail.cols; ++c) w[c] = out[c] >= 0 ? 1.0F : 0.0F, out[c] = std::max(out[c], 0.0F);
    }
  });
  cv::Mat norm, mean, deviation;
  smooth_each({{&weight, &norm, sigma}, {&detail, &mean, sigma}});
  for_rows(detail.rows, [&](int from, int to) {
    for (int r = from; r < to; ++r) {
      const float *w = weight.ptr<float>(r), *m = mean.ptr<float>(r);
      float *n = norm.ptr<float>(r), *d = detail.ptr<float>(r), *s = square.ptr<float>(r);
      for (int c = 0; c < detail.cols; ++c) {
        n[c] += 1e-4F;
        d[c] = w[c] * (d[c] - m[c] / n[c]);
        s[c] = d[c] * d[c];
      }
    }
  });
  deviation = smooth(square, sigma);
  std::vector<double> sums(static_cast<std::size_t>(detail.rows));
  for_rows(detail.rows, [&](int from, int to) {
    for (int r = from; r < to; ++r) {
      const float *w = weight.ptr<float>(r), *n = norm.ptr<float>(r);
      float* d = deviation.ptr<float>(r);
      double& sum = sums[static_cast<std::size_t>(r)];
      for (int c = 0; c < detail.cols; ++c) {
        d[c] = std::sqrt(std::max(d[c] / n[c], 0.0F));
        sum += w[c] * d[c];
      }
    }
  });
  const double typical =
      std::accumulate(sums.begin(), sums.end(), 0.0) / std::max(1, cv::countNonZero(weight));
  const auto least = static_cast<float>(0.2 * typical + 1e-6);
  for_rows(detail.rows, [&](int from, int to) {
    for (int r = from; r < to; ++r) {
      const float* d = deviation.ptr<float>(r);
      float* out = detail.ptr<float>(r);
      for (int c = 0; c < detail.cols; ++c) out[c] /= d[c] + least;
    }
  });
  return detail;
}

/// Magnitudes of the size x size spectrum of a picture under a Gaussian window about a place. CV_32FC1.
cv::Mat spectrum_about(const cv::Mat& picture, const PanelGrid& grid, cv::Point2d centre_mm, double window_mm,
                       int size) {
  cv::Mat padded = cv::Mat::zeros(size, size, CV_32FC1);
  const int c0 = static_cast<int>(grid.column_of(centre_mm.x)) - size / 2,
            r0 = static_cast<int>(grid.row_of(centre_mm.y)) - size / 2;
  const cv::Rect here = cv::Rect(c0, r0, size, size) & cv::Rect(0, 0, grid.columns, grid.rows);
  if (here.empty()) return padded;
  const cv::Mat window =
      gaussian(here.height, (centre_mm.y - grid.y_mm(here.y)) / grid.step_mm, window_mm / grid.step_mm) *
      gaussian(here.width, (centre_mm.x - grid.x_mm(here.x)) / grid.step_mm, window_mm / grid.step_mm).t();
  padded(here - cv::Point(c0, r0)) = picture(here).mul(window);
  cv::Mat spectrum, parts[2], magnitude;
  cv::dft(padded, spectrum, cv::DFT_COMPLEX_OUTPUT);
  cv::split(spectrum, parts);
  cv::magnitude(parts[0], parts[1], magnitude);
  return magnitude;
}

}  // namespace

Gradient2 phase_gradient(const PanelModel<double>& model, double x, double y) {
  constexpr double h = 1.0;
  return {(model.phase(x + h, y, 0.0, 0.0) - model.phase(x - h, y, 0.0, 0.0)) / (2 * h),
          (model.phase(x, y + h, 0.0, 0.0) - model.phase(x, y - h, 0.0, 0.0)) / (2 * h)};
}

Carrier find_carrier(const ReducedLight& light, const cv::Mat& covered, const PanelGrid& grid,
                     const BundleProblem& problem, const PanelVector& parameters, const PanelRegion& region) {
  // Predicted frequency vector for every spin of the board.
  constexpr std::size_t directions = 60;  // over half a turn
  constexpr double turn_rad = std::numbers::pi / directions;
  std::array<double, directions> predicted, direction_x, direction_y;
  double mean_frequency = 0;
  PanelVector p = parameters;
  for (std::size_t i = 0; i < directions; ++i) {
    p[p_board_spin] = turn_rad * static_cast<double>(i);
    const Gradient2 g = phase_gradient(PanelModel<double>(problem.constants, p),
                                       problem.constants.anchor_x_mm, problem.constants.anchor_y_mm);
    predicted[i] = g.norm(), direction_x[i] = g.x / g.norm(), direction_y[i] = g.y / g.norm();
    mean_frequency += g.norm() / directions;
  }
  const double window_mm = std::max(30.0, 2.5 / mean_frequency);
  constexpr int size = 256;  // 32 periods: many times the window
  const double cx = 0.5 * (region.x0_mm + region.x1_mm), cy = 0.5 * (region.y0_mm + region.y1_mm);
  const double ax = problem.constants.anchor_x_mm, ay = problem.constants.anchor_y_mm;
  const std::array<cv::Point2d, 7> centres{
      {{ax, ay}, {ax + 45, ay}, {ax, ay + 45}, {ax + 50, ay + 50}, {cx, cy}, {ax - 45, ay}, {ax, ay - 70}}};
  cv::Rect looked_at;
  for (const cv::Point2d& centre : centres)
    looked_at |= grid.box_around(centre.x, centre.y, 0.5 * size * grid.step_mm);
  const PanelGrid here = grid.part(looked_at);
  const cv::Mat contrast = local_contrast(light, covered(looked_at),
                                          PanelRows(PanelModel<double>(problem.constants, parameters), here),
                                          0.9 / mean_frequency / here.step_mm);
  std::array<cv::Mat, 7> magnitudes;
  for_rows(static_cast<int>(centres.size()), [&](int from, int to) {
    for (int i = from; i < to; ++i) {
      const auto k = static_cast<std::size_t>(i);
      magnitudes[k] = spectrum_about(contrast, here, centres[k], window_mm, size);
    }
  });
  cv::Mat power = magnitudes[0];
  for (std::size_t k = 1; k < magnitudes.size(); ++k) power += magnitudes[k];

  const auto frequency = [&](int index) {
    return static_cast<double>(index < size / 2 ? index : index - size) / (size * grid.step_mm);
  };
  Carrier best;
  double best_score = 0;
  int best_r = 0, best_c = 0;
  std::vector<float> band;
  for (int r = 0; r < size; ++r)
    for (int c = 0; c < size; ++c) {
      const Gradient2 f{frequency(c), frequency(r)};
      const double fr = f.norm();
      if (fr < 0.45 * mean_frequency || fr > 2.4 * mean_frequency) continue;
      // nearest predicted direction (the spectrum is symmetric: a direction and its opposite are one)
      std::array<double, directions> along;
      for (std::size_t i = 0; i < directions; ++i) along[i] = f.x * direction_x[i] + f.y * direction_y[i];
      const auto best_along = std::max_element(along.begin(), along.end());
      if (*best_along < 0.9 * fr) continue;  // the opposite half
      const auto nearest = static_cast<std::size_t>(best_along - along.begin());
      const double log_ratio = std::log(fr / predicted[nearest]);
      // Crown, tilt and tape leave the predicted frequency uncertain by 15 % or so.
      const double score = power.at<float>(r, c) * std::exp(-0.5 * (log_ratio / 0.15) * (log_ratio / 0.15));
      band.push_back(power.at<float>(r, c));
      if (score > best_score) {
        best_score = score;
        best.frequency = f;
        best.spin_rad = turn_rad * static_cast<double>(nearest);
        best.ratio = std::exp(log_ratio);
        best_r = r, best_c = c;
      }
    }
  if (band.empty()) return best;
  best.snr = power.at<float>(best_r, best_c) / (median_of(band) + 1e-9F);
  return best;
}

void match_carrier(const BundleProblem& problem, const Carrier& carrier, PanelVector& p) {
  p[p_board_spin] = carrier.spin_rad;
  const int unknown[6] = {p_board_spin, p_board_tilt, p_board_tilt + 1, p_crown, p_crown + 1, p_crown + 2};
  const double sigma[6] = {1.0, 0.12, 0.12, 2e-4, 2e-4, 1e-4};
  const PanelVector start = p;
  for (int iteration = 0; iteration < 8; ++iteration) {
    const auto residual = [&](const PanelVector& q) {
      const Gradient2 g = phase_gradient(PanelModel<double>(problem.constants, q),
                                         problem.constants.anchor_x_mm, problem.constants.anchor_y_mm);
      const double scale = 30 / carrier.frequency.norm();
      Eigen::Matrix<double, 8, 1> r;
      r[0] = (g.x - carrier.frequency.x) * scale;
      r[1] = (g.y - carrier.frequency.y) * scale;
      for (int k = 0; k < 6; ++k)
        r[2 + k] = (q[unknown[k]] - (k == 0 ? q[unknown[k]] : (k < 3 ? 0.0 : start[unknown[k]]))) / sigma[k];
      return r;
    };
    const auto r0 = residual(p);
    Eigen::Matrix<double, 8, 6> jacobian;
    for (int k = 0; k < 6; ++k) {
      PanelVector q = p;
      q[unknown[k]] += 1e-3 * sigma[k];
      jacobian.col(k) = (residual(q) - r0) / (1e-3 * sigma[k]);
    }
    Eigen::Matrix<double, 6, 6> normal = jacobian.transpose() * jacobian;
    normal.diagonal().array() *= 1 + 1e-9;
    const Eigen::Matrix<double, 6, 1> step = normal.ldlt().solve(-jacobian.transpose() * r0);
    for (int k = 0; k < 6; ++k) p[unknown[k]] += step[k];
  }
}

}  // namespace ripplegauge
