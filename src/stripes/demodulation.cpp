// The model's own phase is the reference, so that what is left is slow: means over blocks give its angle, and
// neighbours tell whole turns.
#include "demodulation.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <cstdint>
#include <limits>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <queue>

#include "core/quantile.hpp"
#include "stripes/block_means.hpp"

namespace ripplegauge {
namespace {

constexpr double two_pi = 2 * std::numbers::pi;

/// How well a node suits as a flood's seed, better for higher; negative where not usable. CV_32FC1.
cv::Mat seed_merit(const cv::Mat& quality, const cv::Mat& usable, cv::Point near) {
  cv::Mat merit(quality.size(), CV_32FC1);
  const float scale = 4.0F / static_cast<float>(quality.cols);
  for (int r = 0; r < merit.rows; ++r) {
    const float dy = scale * static_cast<float>(r - near.y);
    const float* q = quality.ptr<float>(r);
    const uchar* open = usable.ptr<uchar>(r);
    float* out = merit.ptr<float>(r);
    for (int c = 0; c < merit.cols; ++c) {
      const float dx = scale * static_cast<float>(c - near.x);
      out[c] = open[c] != 0 ? q[c] / (1 + dx * dx + dy * dy) : -1.0F;
    }
  }
  return merit;
}

}  // namespace

Floods unwrap_in_floods(const Demodulated& d, cv::Point near, double enough) {
  const cv::Mat &angle = d.angle, &quality = d.amplitude, &usable = d.usable;
  constexpr float max_jump = 1.2F;
  const int rows = angle.rows, columns = angle.cols;
  Floods floods{cv::Mat(rows, columns, CV_32FC1, cv::Scalar(std::numeric_limits<float>::quiet_NaN())),
                cv::Mat::zeros(rows, columns, CV_32SC1),
                {}};
  const int usable_nodes = cv::countNonZero(usable);
  if (usable_nodes == 0) return floods;
  const float *a = angle.ptr<float>(), *q = quality.ptr<float>();
  const uchar* open = usable.ptr<uchar>();
  int* of_flood = floods.label.ptr<int>();
  float* out = floods.unwrapped.ptr<float>();
  // Seeds: good places, the nearer to the anchor the sooner.
  const cv::Mat merit = seed_merit(quality, usable, near);
  const auto best_seed = [&] {
    double best = -1;
    cv::Point at;
    cv::minMaxLoc(merit, nullptr, &best, nullptr, &at, floods.label == 0);
    return best < 0 || at.x < 0 ? -1 : at.y * columns + at.x;
  };
  constexpr int most_floods = 12;
  int largest = 0;
  for (int flood = 1; flood <= most_floods && largest <= enough * usable_nodes; ++flood) {
    const int seed = best_seed();
    if (seed < 0) break;
    std::priority_queue<std::uint64_t> front;
    const auto reach = [&](int node, float value) {
      out[node] = value, of_flood[node] = flood;
      front.push(std::uint64_t{std::bit_cast<std::uint32_t>(q[node])} << 32 |
                 static_cast<std::uint32_t>(node));
    };
    reach(seed, a[seed]);
    int count = 1;
    const auto step = [&](int from, int to) {
      if (open[to] == 0 || of_flood[to] != 0) return;
      float jump = a[to] - out[from];
      jump -= static_cast<float>(two_pi) * std::nearbyint(jump * static_cast<float>(1 / two_pi));
      if (std::abs(jump) > max_jump) return;
      reach(to, out[from] + jump);
      ++count;
    };
    while (!front.empty()) {
      const int at = static_cast<int>(front.top() & 0xFFFFFFFFU), r = at / columns, c = at % columns;
      front.pop();
      if (r + 1 < rows) step(at, at + columns);
      if (r > 0) step(at, at - columns);
      if (c + 1 < columns) step(at, at + 1);
      if (c > 0) step(at, at - 1);
    }
    floods.counts.push_back(count);
    largest = std::max(largest, count);
  }
  return floods;
}

cv::Mat largest_flood(const Floods& floods) {
  cv::Mat unwrapped = floods.unwrapped.clone();
  const auto largest = std::max_element(floods.counts.begin(), floods.counts.end());
  const auto label = static_cast<int>(largest - floods.counts.begin()) + 1;
  unwrapped.setTo(std::numeric_limits<float>::quiet_NaN(), floods.label != label);
  return unwrapped;
}

Demodulated demodulate(const ReducedLight& light, const PanelModel<double>& model, const cv::Mat& covered,
                       const PanelGrid& grid, double period_mm, const Window& window) {
  Demodulated out;
  out.stride = std::max(1, static_cast<int>(std::lround(0.25 * period_mm / grid.step_mm)));
  const PanelRows rows(model, grid);
  const BlockMeans m = block_means(covered.size(), out.stride, [&](int row, float* value, float* phase) {
    rows.phases(row, phase);
    rows.light(light, covered, row, value);
  });
  const double sigma = window.sigma_periods * period_mm / grid.step_mm / out.stride, wider = 0.8 * sigma;
  cv::Mat weight_nearby, light_nearby, support, real, imaginary;
  smooth_each({{&m[mean_weight], &weight_nearby, wider}, {&m[mean_light], &light_nearby, wider}});
  out.mean = light_nearby / (weight_nearby + 1e-4F);
  real = m[mean_light_cos] - out.mean.mul(m[mean_weight_cos]);
  imaginary = out.mean.mul(m[mean_weight_sin]) - m[mean_light_sin];
  smooth_each({{&m[mean_weight], &support, sigma}, {&real, &real, sigma}, {&imaginary, &imaginary, sigma}});

  out.angle.create(real.size(), CV_32FC1);
  out.amplitude.create(real.size(), CV_32FC1);
  out.seen.create(real.size(), CV_8UC1);
  const PanelGrid nodes = block_grid(grid, out.stride);
  const float far2 = static_cast<float>(window.radius_mm * window.radius_mm);
  constexpr float densest = 0.4F;  // cycles per cell
  for_rows(nodes.rows, [&](int from, int to) {
    std::vector<float> here(static_cast<std::size_t>(grid.columns)), below(here);
    for (int r = from; r < to; ++r) {
      rows.phases(r * out.stride, here.data());
      rows.phases(r * out.stride + 1, below.data());
      const auto dy = static_cast<float>(nodes.y_mm(r) - window.anchor_y_mm);
      const float *weight = m[mean_weight].ptr<float>(r), *s = support.ptr<float>(r),
                  *re = real.ptr<float>(r), *im = imaginary.ptr<float>(r);
      float *angle = out.angle.ptr<float>(r), *amplitude = out.amplitude.ptr<float>(r);
      uchar* seen = out.seen.ptr<uchar>(r);
      for (int c = 0; c < nodes.columns; ++c) {
        const int cell = std::min(c * out.stride, grid.columns - 2);
        const auto at = static_cast<std::size_t>(cell);
        const float across = here[at + 1] - here[at], down = below[at] - here[at];
        const auto dx = static_cast<float>(nodes.x_mm(c) - window.anchor_x_mm);
        seen[c] = weight[c] > 0.5F && s[c] > 0.5F && dx * dx + dy * dy < far2 &&
                  across * across + down * down < densest * densest;
        amplitude[c] = std::sqrt(re[c] * re[c] + im[c] * im[c]) / (s[c] + 1e-3F);
        angle[c] = seen[c] != 0 ? std::atan2(im[c], re[c]) : 0.0F;
      }
    }
  });
  // Where there are stripes their amplitude is much of one size. The upper quartile stands for it even when
  // they fill less than half of the circle, that near the card where they fill next to nothing of a wide one.
  constexpr double near_mm = 50;
  std::vector<float> amplitudes, near_amplitudes;
  for (int r = 0; r < nodes.rows; ++r) {
    const uchar* seen = out.seen.ptr<uchar>(r);
    const float* amplitude = out.amplitude.ptr<float>(r);
    for (int c = 0; c < nodes.columns; ++c) {
      if (seen[c] == 0) continue;
      amplitudes.push_back(amplitude[c]);
      const double dx = nodes.x_mm(c) - window.anchor_x_mm, dy = nodes.y_mm(r) - window.anchor_y_mm;
      if (dx * dx + dy * dy < near_mm * near_mm) near_amplitudes.push_back(amplitude[c]);
    }
  }
  out.usable = out.seen.clone();
  if (amplitudes.empty()) return out;
  constexpr double upper_quartile = 0.75;
  const float near_typical = near_amplitudes.empty() ? 0.0F : quantile_of(near_amplitudes, upper_quartile);
  const float typical = std::max(quantile_of(amplitudes, upper_quartile), near_typical);
  out.usable &= (out.amplitude >= 0.35F * typical) & (out.amplitude <= 3.0F * typical) & 1;
  return out;
}

}  // namespace ripplegauge
