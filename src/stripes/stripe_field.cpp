#include "ripplegauge/stripes/stripe_field.hpp"

#include <algorithm>
#include <array>
#include <bit>
#include <cmath>
#include <cstdint>
#include <numbers>
#include <numeric>
#include <opencv2/imgproc.hpp>
#include <queue>
#include <vector>

#include "ripplegauge/core/quantile.hpp"
#include "ripplegauge/stripes/block_means.hpp"

namespace ripplegauge {
namespace {

constexpr double two_pi = 2 * std::numbers::pi;

struct Gradient2 {
  double x = 0, y = 0;
  double norm() const { return std::sqrt(x * x + y * y); }
};

Gradient2 phase_gradient(const PanelModel<double>& model, double x, double y) {
  constexpr double h = 1.0;
  return {(model.phase(x + h, y, 0.0, 0.0) - model.phase(x - h, y, 0.0, 0.0)) / (2 * h),
          (model.phase(x, y + h, 0.0, 0.0) - model.phase(x, y - h, 0.0, 0.0)) / (2 * h)};
}

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

struct Carrier {
  Gradient2 frequency;  ///< cycles per mm, signed so that it goes with the model's spin in [0, pi)
  double snr = 0, ratio = 0, spin_rad = 0;
};

/// The stripes' spatial frequency: the peak, over a few windows, of the spectrum weighed by how well the
/// frequency fits what the mirror geometry predicts for stripes of that direction.
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

/// Turns the board (spin, tilts) and, softly, the crown so that the model's phase gradient at the anchor is
/// the carrier's: a small Gauss-Newton by differences.
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

/// Quality-guided flood unwrapping: from the best node outwards, better nodes first; a jump of more than
/// `max_jump` radians between neighbours is not crossed. Returns the largest of several floods; NaN
/// elsewhere.
cv::Mat unwrap(const cv::Mat& angle, const cv::Mat& quality, const cv::Mat& usable, cv::Point near) {
  constexpr float max_jump = 1.2F;
  const int rows = angle.rows, columns = angle.cols;
  cv::Mat label = cv::Mat::zeros(rows, columns, CV_32SC1);
  cv::Mat unwrapped(rows, columns, CV_32FC1, cv::Scalar(std::numeric_limits<float>::quiet_NaN()));
  const int usable_nodes = cv::countNonZero(usable);
  if (usable_nodes == 0) return unwrapped;
  const float *a = angle.ptr<float>(), *q = quality.ptr<float>();
  const uchar* open = usable.ptr<uchar>();
  int* of_flood = label.ptr<int>();
  float* out = unwrapped.ptr<float>();
  // Seeds: good places, the nearer to the anchor the sooner.
  const cv::Mat merit = seed_merit(quality, usable, near);
  const auto best_seed = [&] {
    double best = -1;
    cv::Point at;
    cv::minMaxLoc(merit, nullptr, &best, nullptr, &at, label == 0);
    return best < 0 || at.x < 0 ? -1 : at.y * columns + at.x;
  };
  constexpr int most_floods = 12;
  int best_label = 0, best_count = 0;
  for (int flood = 1; flood <= most_floods && best_count <= 0.4 * usable_nodes; ++flood) {
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
    if (count > best_count) best_count = count, best_label = flood;
  }
  unwrapped.setTo(std::numeric_limits<float>::quiet_NaN(), label != best_label);
  return unwrapped;
}

/// Node (r, c) stands for a block of stride x stride cells of a grid, a quarter of a period wide.
struct Demodulated {
  cv::Mat angle, amplitude, usable;
  int stride = 1;
};

/// Where and how far demodulation looks.
struct Window {
  double sigma_periods = 0.7, anchor_x_mm = 0, anchor_y_mm = 0, radius_mm = 0;
};

/// Complex demodulation against the model's phase: angle = measured minus model phase, radians. The local
/// mean of the light is taken off behind the sums: it is the same all over a block.
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
  const cv::Mat mean = light_nearby / (weight_nearby + 1e-4F);
  real = m[mean_light_cos] - mean.mul(m[mean_weight_cos]);
  imaginary = mean.mul(m[mean_weight_sin]) - m[mean_light_sin];
  smooth_each({{&m[mean_weight], &support, sigma}, {&real, &real, sigma}, {&imaginary, &imaginary, sigma}});

  out.angle.create(real.size(), CV_32FC1);
  out.amplitude.create(real.size(), CV_32FC1);
  out.usable.create(real.size(), CV_8UC1);
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
      uchar* usable = out.usable.ptr<uchar>(r);
      for (int c = 0; c < nodes.columns; ++c) {
        const int cell = std::min(c * out.stride, grid.columns - 2);
        const auto at = static_cast<std::size_t>(cell);
        const float across = here[at + 1] - here[at], down = below[at] - here[at];
        const auto dx = static_cast<float>(nodes.x_mm(c) - window.anchor_x_mm);
        usable[c] = weight[c] > 0.5F && s[c] > 0.5F && dx * dx + dy * dy < far2 &&
                    across * across + down * down < densest * densest;
        amplitude[c] = std::sqrt(re[c] * re[c] + im[c] * im[c]) / (s[c] + 1e-3F);
        angle[c] = usable[c] != 0 ? std::atan2(im[c], re[c]) : 0.0F;
      }
    }
  });
  // Where there are stripes their amplitude is much of one size. The upper quartile stands for it even when
  // they fill less than half of the circle, that near the card where they fill next to nothing of a wide one.
  constexpr double near_mm = 50;
  std::vector<float> amplitudes, near_amplitudes;
  for (int r = 0; r < nodes.rows; ++r) {
    const uchar* usable = out.usable.ptr<uchar>(r);
    const float* amplitude = out.amplitude.ptr<float>(r);
    for (int c = 0; c < nodes.columns; ++c) {
      if (usable[c] == 0) continue;
      amplitudes.push_back(amplitude[c]);
      const double dx = nodes.x_mm(c) - window.anchor_x_mm, dy = nodes.y_mm(r) - window.anchor_y_mm;
      if (dx * dx + dy * dy < near_mm * near_mm) near_amplitudes.push_back(amplitude[c]);
    }
  }
  if (amplitudes.empty()) return out;
  constexpr double upper_quartile = 0.75;
  const float near_typical = near_amplitudes.empty() ? 0.0F : quantile_of(near_amplitudes, upper_quartile);
  const float typical = std::max(quantile_of(amplitudes, upper_quartile), near_typical);
  out.usable &= (out.amplitude >= 0.35F * typical) & (out.amplitude <= 3.0F * typical) & 1;
  return out;
}

}  // namespace

PanelRegion region_around_card(const CardDefinition& card, double card_scale, double margin_mm) {
  PanelRegion region{1e9, 1e9, -1e9, -1e9};
  for (const RectangleMm& paper : card.paper) {
    region.x0_mm = std::min(region.x0_mm, paper.x0_mm * card_scale - margin_mm);
    region.y0_mm = std::min(region.y0_mm, paper.y0_mm * card_scale - margin_mm);
    region.x1_mm = std::max(region.x1_mm, paper.x1_mm * card_scale + margin_mm);
    region.y1_mm = std::max(region.y1_mm, paper.y1_mm * card_scale + margin_mm);
  }
  return region;
}

StripeField follow_stripes(const cv::Mat& grey, BundleProblem& problem, const PanelVector& start,
                           const PanelRegion& region, double pixels_per_mm) {
  StripeField field;
  PanelVector p = start;
  const double anchor_x = problem.constants.anchor_x_mm, anchor_y = problem.constants.anchor_y_mm;
  const double expected_period =
      1 / phase_gradient(PanelModel<double>(problem.constants, p), anchor_x, anchor_y).norm();
  const double step = std::clamp(expected_period / 8, 0.8 / pixels_per_mm, 1.2);
  const PanelGrid grid = grid_around(region.x0_mm, region.y0_mm, region.x1_mm, region.y1_mm, step);
  field.grid = grid;
  const ReducedLight light(grey, reduction_for(step, pixels_per_mm), cv::Rect(0, 0, grey.cols, grey.rows));
  const cv::Mat covered = paper_mask(problem.card, problem.card_scale, grid, 2.0) |
                          board_tag_mask(problem, PanelModel<double>(problem.constants, p), grid);

  const Carrier carrier = find_carrier(light, covered, grid, problem, p, region);
  field.carrier_snr = carrier.snr;
  field.carrier_ratio = carrier.ratio;
  if (carrier.snr < 3) return field;
  if (problem.board_corners.empty())
    match_carrier(problem, carrier, p);  // tags have turned the board already

  const cv::Rect everything(0, 0, grid.columns, grid.rows);
  constexpr int rounds = 6;
  constexpr double radius_mm[rounds] = {50, 65, 85, 115, 150, 150};
  cv::Mat unwrapped;
  int stride = 1;
  constexpr std::size_t samples_on_the_way = 250, samples_at_last = 700;
  for (int round = 0; round < rounds; ++round) {
    field.period_mm = 1 / phase_gradient(PanelModel<double>(problem.constants, p), anchor_x, anchor_y).norm();
    const bool last_round = round == rounds - 1;
    const double sigma_periods = round < 3 ? 0.9 : 0.7;
    // No more of the panel than this round looks at, and what its windows reach into.
    const double reach_mm = radius_mm[round] + 3 * sigma_periods * field.period_mm;
    const cv::Rect part = last_round ? everything : grid.box_around(anchor_x, anchor_y, reach_mm);
    const PanelGrid here = grid.part(part);
    const PanelModel<double> model(problem.constants, p);
    const Demodulated d = demodulate(light, model, covered(part), here, field.period_mm,
                                     {sigma_periods, anchor_x, anchor_y, radius_mm[round]});
    stride = d.stride;
    const PanelGrid blocks = block_grid(here, stride);
    unwrapped =
        unwrap(d.angle, d.amplitude, d.usable,
               {static_cast<int>(blocks.column_of(anchor_x)), static_cast<int>(blocks.row_of(anchor_y))});
    std::vector<cv::Point> nodes;
    for (int r = 0; r < unwrapped.rows; ++r)
      for (int c = 0; c < unwrapped.cols; ++c)
        if (!std::isnan(unwrapped.at<float>(r, c))) nodes.emplace_back(c, r);
    if (nodes.size() < 40) return field;
    problem.samples.clear();
    const std::size_t most_samples = last_round ? samples_at_last : samples_on_the_way;
    const double skip = std::max(1.0, static_cast<double>(nodes.size()) / static_cast<double>(most_samples));
    for (double i = 0; i < static_cast<double>(nodes.size()); i += skip) {
      const cv::Point node = nodes[static_cast<std::size_t>(i)];
      const double x = blocks.x_mm(node.x), y = blocks.y_mm(node.y);
      const auto pixel = model.pixel_from_panel(x, y);
      problem.samples.push_back(
          {pixel.u_px, pixel.v_px, model.phase(x, y, 0, 0) + unwrapped.at<float>(node) / two_pi});
    }
    const BundleFreedom freedom = round < 2 ? BundleFreedom::board_only : BundleFreedom::everything;
    const BundleNoise noise{.phase_cycles = round < 2 ? 0.05 : 0.03};
    p = settle_bundle(problem, p, freedom, noise, last_round ? 25 : 8);
    if (last_round) {
      field.bundle = fit_bundle(problem, with_card_ends_free(problem, p, noise), freedom, noise);
      p = field.bundle.parameters;
    }
  }

  // The followed region. The flood's wide window sees stripes a third of a period beyond their end; a dent
  // beside the card cuts off what lies behind it. By now the model knows the phase: a narrow window tells
  // both.
  constexpr double narrow_periods = 0.35, in_phase_rad = 0.8, still_there = 0.35, surely_there = 0.5;
  const Demodulated last =
      demodulate(light, PanelModel<double>(problem.constants, p), covered, grid, field.period_mm,
                 {narrow_periods, anchor_x, anchor_y, radius_mm[rounds - 1]});
  std::vector<float> amplitudes;
  for (int r = 0; r < unwrapped.rows; ++r)
    for (int c = 0; c < unwrapped.cols; ++c)
      if (!std::isnan(unwrapped.at<float>(r, c))) amplitudes.push_back(last.amplitude.at<float>(r, c));
  const float typical = static_cast<float>(median_of(amplitudes));
  cv::Mat followed(unwrapped.size(), CV_8UC1);
  for (int r = 0; r < followed.rows; ++r)
    for (int c = 0; c < followed.cols; ++c) {
      const float amplitude = last.amplitude.at<float>(r, c);
      const bool flooded = !std::isnan(unwrapped.at<float>(r, c)) && amplitude > still_there * typical;
      const bool agrees = last.usable.at<uchar>(r, c) != 0 && amplitude > surely_there * typical &&
                          std::abs(last.angle.at<float>(r, c)) < in_phase_rad;
      followed.at<uchar>(r, c) = flooded || agrees;
    }
  // Holes filled: dents break the flood, but stripes all round them are stripes.
  const int reach = static_cast<int>(2 * field.period_mm / (stride * step));
  cv::copyMakeBorder(followed, followed, reach + 1, reach + 1, reach + 1, reach + 1, cv::BORDER_CONSTANT, 0);
  cv::morphologyEx(followed, followed, cv::MORPH_CLOSE,
                   cv::getStructuringElement(cv::MORPH_ELLIPSE, cv::Size(2 * reach + 1, 2 * reach + 1)));
  cv::Mat outside = followed.clone();
  cv::floodFill(outside, cv::Point(0, 0), 2);
  followed.setTo(1, outside != 2);
  followed =
      followed(cv::Rect(reach + 1, reach + 1, followed.cols - 2 * reach - 2, followed.rows - 2 * reach - 2))
          .clone();
  field.followed = cells_of_blocks(followed, stride, everything.size(), cv::INTER_NEAREST).clone();
  field.seen_fraction = cv::mean(field.followed)[0];
  return field;
}

}  // namespace ripplegauge
