#include "ripplegauge/stripes/stripe_field.hpp"
#include "ripplegauge/core/quantile.hpp"

#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>
#include <opencv2/imgproc.hpp>
#include <queue>

namespace ripplegauge {
namespace {

constexpr double two_pi = 2 * std::numbers::pi;

/// Light with its local mean removed, and the local standard deviation, under a mask of weights.
struct Normalised {
  cv::Mat detail, deviation;
};

Normalised normalise(const cv::Mat& light, const cv::Mat& weight, double sigma) {
  const cv::Mat norm = smooth(weight, sigma) + 1e-4F;
  cv::Mat mean = smooth(light.mul(weight), sigma) / norm;
  Normalised out;
  out.detail = (light - mean).mul(weight);
  cv::Mat variance = smooth(out.detail.mul(out.detail), sigma) / norm;
  cv::sqrt(cv::max(variance, 0), out.deviation);
  return out;
}

struct Gradient2 {
  double x = 0, y = 0;
  double norm() const { return std::hypot(x, y); }
};

Gradient2 phase_gradient(const PanelModel<double>& model, double x, double y) {
  constexpr double h = 1.0;
  return {(model.phase(x + h, y, 0.0, 0.0) - model.phase(x - h, y, 0.0, 0.0)) / (2 * h),
          (model.phase(x, y + h, 0.0, 0.0) - model.phase(x, y - h, 0.0, 0.0)) / (2 * h)};
}

/// exp(-(i - middle)^2 / 2 sigma^2) for i = 0 ... count - 1, a column.
cv::Mat gaussian(int count, double middle, double sigma) {
  cv::Mat out(count, 1, CV_32FC1);
  for (int i = 0; i < count; ++i) out.at<float>(i) = static_cast<float>(std::exp(-0.5 * std::pow((i - middle) / sigma, 2)));
  return out;
}

struct Carrier {
  Gradient2 frequency;  ///< cycles per mm, signed so that it goes with the model's spin in [0, pi)
  double snr = 0, ratio = 0, spin_rad = 0;
};

/// The stripes' spatial frequency: the peak, over a few windows, of the spectrum weighed by how well the frequency
/// fits what the mirror geometry predicts for stripes of that direction.
Carrier find_carrier(const cv::Mat& light, const cv::Mat& weight, const PanelGrid& grid,
                     const BundleProblem& problem, const PanelVector& parameters, const PanelRegion& region) {
  // Predicted frequency vector for every spin of the board.
  constexpr int spins = 180;
  std::vector<Gradient2> predicted(spins);
  double mean_frequency = 0;
  PanelVector p = parameters;
  for (int i = 0; i < spins; ++i) {
    p[p_board_spin] = std::numbers::pi * i / spins;
    predicted[static_cast<std::size_t>(i)] =
        phase_gradient(PanelModel<double>(problem.constants, p), problem.constants.anchor_x_mm, problem.constants.anchor_y_mm);
    mean_frequency += predicted[static_cast<std::size_t>(i)].norm() / spins;
  }
  const double window_mm = std::max(30.0, 2.5 / mean_frequency);
  const Normalised n = normalise(light, weight, 0.9 / mean_frequency / grid.step_mm);
  const cv::Scalar mean_deviation = cv::mean(n.deviation, weight > 0.5F);
  cv::Mat contrast;
  cv::divide(n.detail, n.deviation + 0.2 * mean_deviation[0] + 1e-6, contrast);

  const int size = 256;  // 32 periods: many times the window
  cv::Mat power = cv::Mat::zeros(size, size, CV_32FC1);
  const double cx = 0.5 * (region.x0_mm + region.x1_mm), cy = 0.5 * (region.y0_mm + region.y1_mm);
  const double ax = problem.constants.anchor_x_mm, ay = problem.constants.anchor_y_mm;
  const double centres[][2] = {{ax, ay}, {ax + 45, ay}, {ax, ay + 45}, {ax + 50, ay + 50}, {cx, cy},
                               {ax - 45, ay}, {ax, ay - 70}};
  for (const auto& centre : centres) {
    cv::Mat padded = cv::Mat::zeros(size, size, CV_32FC1);
    const int c0 = static_cast<int>(grid.column_of(centre[0])) - size / 2;
    const int r0 = static_cast<int>(grid.row_of(centre[1])) - size / 2;
    const cv::Rect here = cv::Rect(c0, r0, size, size) & cv::Rect(0, 0, grid.columns, grid.rows);
    if (here.empty()) continue;
    const cv::Mat window = gaussian(here.height, (centre[1] - grid.y_mm(here.y)) / grid.step_mm, window_mm / grid.step_mm) *
                           gaussian(here.width, (centre[0] - grid.x_mm(here.x)) / grid.step_mm, window_mm / grid.step_mm).t();
    padded(here - cv::Point(c0, r0)) = contrast(here).mul(window);
    cv::Mat spectrum, parts[2], magnitude;
    cv::dft(padded, spectrum, cv::DFT_COMPLEX_OUTPUT);
    cv::split(spectrum, parts);
    cv::magnitude(parts[0], parts[1], magnitude);
    power += magnitude;
  }

  const auto frequency = [&](int index) {
    return static_cast<double>(index < size / 2 ? index : index - size) / (size * grid.step_mm);
  };
  Carrier best;
  double best_score = 0;
  int best_r = 0, best_c = 0;
  std::vector<float> band;
  for (int r = 0; r < size; ++r)
    for (int c = 0; c < size; ++c) {
      Gradient2 f{frequency(c), frequency(r)};
      const double fr = f.norm();
      if (fr < 0.45 * mean_frequency || fr > 2.4 * mean_frequency) continue;
      // nearest predicted direction (the spectrum is symmetric: a direction and its opposite are one)
      double best_cos = 0;
      int nearest = 0;
      for (int i = 0; i < spins; i += 3) {
        const Gradient2& g = predicted[static_cast<std::size_t>(i)];
        const double cosine = (f.x * g.x + f.y * g.y) / (fr * g.norm());
        if (cosine > best_cos) best_cos = cosine, nearest = i;
      }
      if (best_cos < 0.9) continue;  // the opposite half
      const double log_ratio = std::log(fr / predicted[static_cast<std::size_t>(nearest)].norm());
      // Crown, tilt and tape leave the predicted frequency uncertain by 15 % or so.
      const double score = power.at<float>(r, c) * std::exp(-0.5 * (log_ratio / 0.15) * (log_ratio / 0.15));
      band.push_back(power.at<float>(r, c));
      if (score > best_score) {
        best_score = score;
        best.frequency = f;
        best.spin_rad = std::numbers::pi * nearest / spins;
        best.ratio = std::exp(log_ratio);
        best_r = r, best_c = c;
      }
    }
  if (band.empty()) return best;
  best.snr = power.at<float>(best_r, best_c) / (median_of(band) + 1e-9F);
  return best;
}

/// Turns the board (spin, tilts) and, softly, the crown so that the model's phase gradient at the anchor is the
/// carrier's: a small Gauss-Newton by differences.
void match_carrier(const BundleProblem& problem, const Carrier& carrier, PanelVector& p) {
  p[p_board_spin] = carrier.spin_rad;
  const int unknown[6] = {p_board_spin, p_board_tilt, p_board_tilt + 1, p_crown, p_crown + 1, p_crown + 2};
  const double sigma[6] = {1.0, 0.12, 0.12, 2e-4, 2e-4, 1e-4};
  const PanelVector start = p;
  for (int iteration = 0; iteration < 8; ++iteration) {
    const auto residual = [&](const PanelVector& q) {
      const Gradient2 g = phase_gradient(PanelModel<double>(problem.constants, q), problem.constants.anchor_x_mm,
                                         problem.constants.anchor_y_mm);
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

/// Quality-guided flood unwrapping: from the best node outwards, better nodes first; a jump of more than
/// `max_jump` radians between neighbours is not crossed. Returns the largest of several floods; NaN elsewhere.
cv::Mat unwrap(const cv::Mat& angle, const cv::Mat& quality, const cv::Mat& usable, cv::Point near) {
  constexpr float max_jump = 1.2F;
  const int rows = angle.rows, columns = angle.cols;
  cv::Mat label = cv::Mat::zeros(rows, columns, CV_32SC1);
  cv::Mat unwrapped(rows, columns, CV_32FC1, cv::Scalar(std::numeric_limits<float>::quiet_NaN()));
  std::vector<int> order;
  for (int i = 0; i < rows * columns; ++i)
    if (usable.data[i]) order.push_back(i);
  if (order.empty()) return unwrapped;
  const float* q = quality.ptr<float>();
  // Seeds: good places, the nearer to the anchor the sooner.
  const auto merit = [&](int i) {
    const double d = std::hypot(i % columns - near.x, i / columns - near.y) / (0.25 * columns);
    return q[i] / static_cast<float>(1 + d * d);
  };
  std::sort(order.begin(), order.end(), [&](int a, int b) { return merit(a) > merit(b); });
  int best_label = 0, best_count = 0, labels = 0;
  for (const int seed : order) {
    if (label.ptr<int>()[seed] != 0) continue;
    if (++labels > 12 || best_count > 0.4 * static_cast<double>(order.size())) break;
    std::priority_queue<std::pair<float, int>> open;
    unwrapped.ptr<float>()[seed] = angle.ptr<float>()[seed];
    label.ptr<int>()[seed] = labels;
    open.emplace(q[seed], seed);
    int count = 1;
    while (!open.empty()) {
      const int at = open.top().second;
      open.pop();
      const int r = at / columns, c = at % columns;
      const int neighbours[4][2] = {{r + 1, c}, {r - 1, c}, {r, c + 1}, {r, c - 1}};
      for (const auto& n : neighbours) {
        if (n[0] < 0 || n[1] < 0 || n[0] >= rows || n[1] >= columns) continue;
        const int to = n[0] * columns + n[1];
        if (!usable.data[to] || label.ptr<int>()[to] != 0) continue;
        float jump = angle.ptr<float>()[to] - unwrapped.ptr<float>()[at];
        jump -= static_cast<float>(two_pi * std::round(jump / two_pi));
        if (std::abs(jump) > max_jump) continue;
        unwrapped.ptr<float>()[to] = unwrapped.ptr<float>()[at] + jump;
        label.ptr<int>()[to] = labels;
        open.emplace(q[to], to);
        ++count;
      }
    }
    if (count > best_count) best_count = count, best_label = labels;
  }
  unwrapped.setTo(std::numeric_limits<float>::quiet_NaN(), label != best_label);
  return unwrapped;
}

struct Demodulated {
  cv::Mat angle, amplitude, usable;  ///< on every `stride`-th node of the grid
  int stride = 1;
};

/// Complex demodulation against the model's phase: angle = measured minus model phase, radians.
Demodulated demodulate(const cv::Mat& light, const cv::Mat& weight, const cv::Mat& phase, const cv::Mat& local_period,
                       const PanelGrid& grid, double period_mm, double sigma_periods, double anchor_x, double anchor_y,
                       double radius_mm) {
  const double sigma = sigma_periods * period_mm / grid.step_mm;
  const Normalised n = normalise(light, weight, 0.8 * sigma);
  cv::Mat real, imaginary;
  cv::polarToCart(n.detail, -two_pi * phase, real, imaginary);
  const cv::Mat support = smooth(weight, sigma);
  real = smooth(real, sigma);
  imaginary = smooth(imaginary, sigma);
  Demodulated out;
  out.stride = std::max(1, static_cast<int>(std::lround(0.25 * period_mm / grid.step_mm)));
  const int rows = (grid.rows - 1) / out.stride + 1, columns = (grid.columns - 1) / out.stride + 1;
  out.angle.create(rows, columns, CV_32FC1);
  out.amplitude.create(rows, columns, CV_32FC1);
  out.usable = cv::Mat::zeros(rows, columns, CV_8UC1);
  std::vector<float> near_amplitudes;
  for (int r = 0; r < rows; ++r)
    for (int c = 0; c < columns; ++c) {
      const int row = r * out.stride, column = c * out.stride;
      const float re = real.at<float>(row, column), im = imaginary.at<float>(row, column);
      const float s = support.at<float>(row, column);
      out.angle.at<float>(r, c) = std::atan2(im, re);
      out.amplitude.at<float>(r, c) = std::hypot(re, im) / (s + 1e-3F);
      const double d = std::hypot(grid.x_mm(column) - anchor_x, grid.y_mm(row) - anchor_y);
      const bool ok = weight.at<float>(row, column) > 0.5F && s > 0.5F && d < radius_mm &&
                      local_period.at<float>(row, column) > 2.5 * grid.step_mm;
      out.usable.at<uchar>(r, c) = ok;
      if (ok) near_amplitudes.push_back(out.amplitude.at<float>(r, c));
    }
  if (near_amplitudes.empty()) return out;
  // Where there are stripes their amplitude is much of one size. The upper quartile stands for it even when they
  // fill less than half of the circle.
  const auto upper = near_amplitudes.begin() + static_cast<std::ptrdiff_t>(near_amplitudes.size() * 3 / 4);
  std::nth_element(near_amplitudes.begin(), upper, near_amplitudes.end());
  const float typical = *upper;
  for (int i = 0; i < rows * columns; ++i)
    if (out.amplitude.ptr<float>()[i] < 0.35F * typical || out.amplitude.ptr<float>()[i] > 3.0F * typical)
      out.usable.data[i] = 0;
  return out;
}

cv::Mat period_map(const cv::Mat& phase, double step_mm) {
  cv::Mat gx, gy, g;
  cv::Sobel(phase, gx, CV_32F, 1, 0, 1, 0.5 / step_mm);
  cv::Sobel(phase, gy, CV_32F, 0, 1, 1, 0.5 / step_mm);
  cv::magnitude(gx, gy, g);
  return 1.0 / (g + 1e-6F);
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

  PanelMaps maps;
  cv::Mat view, weight;
  const auto rectify = [&](const cv::Rect& part) {
    maps = panel_maps(PanelModel<double>(problem.constants, p), grid.part(part));
    view = sample_light(light, maps);
    weight.create(view.size(), CV_32FC1);
    for (int r = 0; r < view.rows; ++r)
      for (int c = 0; c < view.cols; ++c)
        weight.at<float>(r, c) = view.at<float>(r, c) >= 0 && covered.at<uchar>(part.y + r, part.x + c) == 0 ? 1.0F : 0.0F;
    view = cv::max(view, 0);
  };
  const cv::Rect everything(0, 0, grid.columns, grid.rows);
  rectify(everything);
  const Carrier carrier = find_carrier(view, weight, grid, problem, p, region);
  field.carrier_snr = carrier.snr;
  field.carrier_ratio = carrier.ratio;
  if (carrier.snr < 3) return field;
  if (problem.board_corners.empty()) match_carrier(problem, carrier, p);  // tags have turned the board already

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
    rectify(part);
    const Demodulated d = demodulate(view, weight, maps.phase_cycles, period_map(maps.phase_cycles, step), here, field.period_mm,
                                     sigma_periods, anchor_x, anchor_y, radius_mm[round]);
    stride = d.stride;
    unwrapped = unwrap(d.angle, d.amplitude, d.usable,
                       {static_cast<int>(here.column_of(anchor_x)) / stride, static_cast<int>(here.row_of(anchor_y)) / stride});
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
      const int row = node.y * stride, column = node.x * stride;
      problem.samples.push_back({maps.u_px.at<float>(row, column), maps.v_px.at<float>(row, column),
                                 maps.phase_cycles.at<float>(row, column) + unwrapped.at<float>(node) / two_pi});
    }
    const BundleFreedom freedom = round < 2 ? BundleFreedom::board_only : BundleFreedom::everything;
    const BundleNoise noise{.phase_cycles = round < 2 ? 0.05 : 0.03};
    if (last_round)
      field.bundle = fit_bundle(problem, p, freedom, noise), p = field.bundle.parameters;
    else
      p = settle_bundle(problem, p, freedom, noise, 8);
  }

  // The followed region. The flood's wide window sees stripes a third of a period beyond their end; a dent beside the
  // card cuts off what lies behind it. By now the model knows the phase: a narrow window tells both.
  const cv::Mat phase = panel_maps(PanelModel<double>(problem.constants, p), grid).phase_cycles;
  constexpr double narrow_periods = 0.35, in_phase_rad = 0.8, still_there = 0.35, surely_there = 0.5;
  const Demodulated last = demodulate(view, weight, phase, period_map(phase, step), grid, field.period_mm, narrow_periods,
                                      anchor_x, anchor_y, radius_mm[rounds - 1]);
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
  followed = followed(cv::Rect(reach + 1, reach + 1, followed.cols - 2 * reach - 2, followed.rows - 2 * reach - 2)).clone();
  cv::resize(followed, field.followed, cv::Size(grid.columns, grid.rows), 0, 0, cv::INTER_NEAREST);
  field.seen_fraction = cv::mean(field.followed)[0];
  return field;
}

}  // namespace ripplegauge
