#include "ripplegauge/dents/candidates.hpp"

#include <algorithm>
#include <cmath>
#include <opencv2/core.hpp>
#include <opencv2/core/optim.hpp>
#include <opencv2/imgproc.hpp>

#include "ripplegauge/relief/light_fit.hpp"
#include "ripplegauge/core/quantile.hpp"

namespace ripplegauge {
namespace {

/// Ellipse with the second moments of the marked pixels; the hull bridges quiet lines inside.
Outline outline_of(const cv::Mat& mask, const PanelGrid& grid) {
  std::vector<cv::Point> points, hull;
  cv::findNonZero(mask, points);
  cv::convexHull(points, hull);
  cv::Mat filled = cv::Mat::zeros(mask.size(), CV_8UC1);
  cv::fillConvexPoly(filled, hull, 1);
  const cv::Moments m = cv::moments(filled, true);
  Outline outline;
  if (m.m00 < 1) return outline;
  const double cx = m.m10 / m.m00, cy = m.m01 / m.m00;
  const double xx = m.mu20 / m.m00 + 1.0 / 12, yy = m.mu02 / m.m00 + 1.0 / 12, xy = m.mu11 / m.m00;
  const double half = 0.5 * (xx + yy), root = std::hypot(0.5 * (xx - yy), xy);
  const double longer = 2 * std::sqrt(half + root), shorter = 2 * std::sqrt(std::max(half - root, 1e-6));
  outline.x_mm = grid.x_mm(cx), outline.y_mm = grid.y_mm(cy);
  outline.radius_mm = std::max(1.2, std::sqrt(longer * shorter) * grid.step_mm);
  outline.elongation = longer / shorter;
  outline.angle_rad = 0.5 * std::atan2(2 * xy, xx - yy);
  return outline;
}

}  // namespace

DisturbanceMap disturbance(const ResidualField& field, const cv::Mat& explained) {
  DisturbanceMap map;
  cv::Mat residual;
  cv::medianBlur(field.residual, residual, 3);
  cv::Mat chi(residual.size(), CV_32FC1), weight(residual.size(), CV_32FC1);
  cv::Mat steep(residual.size(), CV_32FC1);
  for (int r = 0; r < residual.rows; ++r)
    for (int c = 0; c < residual.cols; ++c)
      steep.at<float>(r, c) = std::abs(field.profile.at(field.phase_cycles.at<float>(r, c)).derivative);
  cv::dilate(steep, steep, cv::Mat());  // a wandering edge is loud beside the edge, too
  for (int r = 0; r < residual.rows; ++r)
    for (int c = 0; c < residual.cols; ++c) {
      // Darker than a dark stripe or brighter than a light one is no reflection of the board: a speck, a glint.
      const float s = field.profile.value(field.phase_cycles.at<float>(r, c));
      float d = std::clamp(s + residual.at<float>(r, c), -1.15F, 1.15F) - s;
      if (!explained.empty()) d *= 1 - 0.65F * explained.at<float>(r, c);
      const double jitter = steep.at<float>(r, c) * field.edge_jitter_cycles;
      const double variance = 0.04 * 0.04 + field.noise * field.noise + jitter * jitter;
      const float valid = field.valid.at<uchar>(r, c) ? 1.0F : 0.0F;
      chi.at<float>(r, c) = valid * std::min(40.0F, static_cast<float>(d * d / variance));
      weight.at<float>(r, c) = valid;
    }
  const double sigma = std::max(1.0, 1.0 / field.grid.step_mm);
  map.energy = smooth(chi, sigma) / (smooth(weight, sigma) + 0.05);
  map.energy.setTo(0, field.inner == 0);
  std::vector<float> values;
  for (int r = 0; r < residual.rows; ++r)
    for (int c = 0; c < residual.cols; ++c)
      if (field.inner.at<uchar>(r, c)) values.push_back(map.energy.at<float>(r, c));
  map.score = cv::Mat::zeros(residual.size(), CV_32FC1);
  if (values.size() < 100) return map;
  const float median = median_of(values);
  for (float& v : values) v = std::abs(v - median);
  const float mad = 1.4826F * median_of(values) + 1e-6F;
  map.score = (map.energy - median) / mad;
  map.score.setTo(0, field.inner == 0);
  return map;
}

std::vector<Candidate> find_candidates(const ResidualField& field, const DisturbanceMap& map, double merge_gap_mm,
                                       std::size_t most) {
  constexpr float lowest_peak = 12;  // good panel stays below 8 on ten thousand cells
  std::vector<Candidate> candidates;
  cv::Mat score = map.score.clone();
  for (std::size_t tries = 0; tries < 4 * most && candidates.size() < most; ++tries) {
    double peak = 0;
    cv::Point at;
    cv::minMaxLoc(score, nullptr, &peak, nullptr, &at);
    if (peak < lowest_peak) break;
    const float floor = std::max({1.0F, 0.12F * map.energy.at<float>(at)});
    cv::Mat above = (score > 6) & (map.energy > floor), labels;
    cv::connectedComponents(above, labels, 8);
    cv::Mat region = labels == labels.at<int>(at);
    for (const double share : {0.5, 1.0}) {
      const int reach = static_cast<int>(share * merge_gap_mm / field.grid.step_mm);
      if (reach < 1) break;
      cv::Mat near;
      cv::dilate(region, near, cv::getStructuringElement(cv::MORPH_ELLIPSE, cv::Size(2 * reach + 1, 2 * reach + 1)));
      std::vector<char> touched(static_cast<std::size_t>(field.grid.rows * field.grid.columns) + 1, 0);
      std::vector<float> top(touched.size(), 0);
      for (int r = 0; r < score.rows; ++r)
        for (int c = 0; c < score.cols; ++c) {
          const auto label = static_cast<std::size_t>(labels.at<int>(r, c));
          if (label == 0) continue;
          if (near.at<uchar>(r, c)) touched[label] = 1;
          top[label] = std::max(top[label], score.at<float>(r, c));
        }
      for (int r = 0; r < score.rows; ++r)
        for (int c = 0; c < score.cols; ++c) {
          const auto label = static_cast<std::size_t>(labels.at<int>(r, c));
          // Far fragments must be strong themselves to belong.
          if (label != 0 && touched[label] && top[label] > (share < 1 ? 0.0 : 0.3) * peak) region.at<uchar>(r, c) = 255;
        }
    }
    const Outline outline = outline_of(region, field.grid);
    if (outline.radius_mm > 0) candidates.push_back({outline, peak});
    cv::Mat gone;
    const int margin = std::max(1, static_cast<int>(1.0 / field.grid.step_mm));
    cv::dilate(region, gone, cv::getStructuringElement(cv::MORPH_ELLIPSE, cv::Size(2 * margin + 1, 2 * margin + 1)));
    score.setTo(0, gone);
  }
  return candidates;
}

namespace {

/// Energy of splitting the patch by an ellipse: scatter of the disturbance within inside and outside.
class EllipseSplit : public cv::MinProblemSolver::Function {
 public:
  EllipseSplit(const Patch& patch, const std::vector<float>& disturbance) : patch_(patch), disturbance_(disturbance) {}
  int getDims() const override { return 5; }
  double calc(const double* x) const override {
    const double a = std::exp(x[2]), b = std::exp(x[3]), c = std::cos(x[4]), s = std::sin(x[4]);
    const double softness = std::min(a, b) / edge_mm;
    double hh = 0, gg = 0, hg = 0, h1 = 0, g1 = 0, tt = 0;
    for (std::size_t i = 0; i < patch_.size(); ++i) {
      const double dx = patch_.pixel[i].x_mm - x[0], dy = patch_.pixel[i].y_mm - x[1];
      const double rho = std::hypot((c * dx + s * dy) / a, (c * dy - s * dx) / b);
      const double h = 1 / (1 + std::exp(std::clamp((rho - 1) * softness, -30.0, 30.0))), g = 1 - h, t = disturbance_[i];
      hh += h * h, gg += g * g, hg += h * g, h1 += h * t, g1 += g * t, tt += t * t;
    }
    const double determinant = hh * gg - hg * hg + 1e-12;
    const double p = (gg * h1 - hg * g1) / determinant, q = (hh * g1 - hg * h1) / determinant;
    return (tt - p * h1 - q * g1) / static_cast<double>(patch_.size());
  }

 private:
  static constexpr double edge_mm = 0.35;  // softness of the boundary
  const Patch& patch_;
  const std::vector<float>& disturbance_;
};

}  // namespace

Outline sharpen_outline(const Patch& patch, const Outline& start) {
  const PixelArrays pixels = gather(patch, all_pixels(patch));
  LightFit light;
  predict_phase(pixels, pixels.base, Eigen::Vector3d::Zero(), light);
  solve_light(pixels, pixels.base, {}, light);
  // Squared misfit in contrasts, capped, lightly smoothed over the patch's grid.
  cv::Mat sum = cv::Mat::zeros(patch.rows, patch.columns, CV_32FC1), weight = sum.clone();
  for (std::size_t i = 0; i < patch.size(); ++i) {
    const float r = light.residual[i] / patch.whitening[i];
    sum.ptr<float>()[patch.cell[i]] = std::min(r * r, 0.6F);
    weight.ptr<float>()[patch.cell[i]] = 1;
  }
  const double sigma = std::max(0.6, 0.25 / patch.step_mm);
  cv::GaussianBlur(sum, sum, cv::Size(), sigma);
  cv::GaussianBlur(weight, weight, cv::Size(), sigma);
  std::vector<float> disturbance(patch.size());
  for (std::size_t i = 0; i < patch.size(); ++i)
    disturbance[i] = std::min(0.35F, sum.ptr<float>()[patch.cell[i]] / (weight.ptr<float>()[patch.cell[i]] + 1e-3F));

  Outline best = start;
  double best_energy = 1e300;
  for (const double scale : {1.0, 0.75}) {
    const double r = scale * start.radius_mm, e = std::sqrt(start.elongation);
    cv::Mat x = (cv::Mat_<double>(1, 5) << start.x_mm, start.y_mm, std::log(r * e), std::log(r / e), start.angle_rad);
    const cv::Mat step = (cv::Mat_<double>(1, 5) << 0.4 * start.radius_mm, 0.4 * start.radius_mm, 0.4, 0.4, 0.8);
    const auto solver = cv::DownhillSolver::create(cv::makePtr<EllipseSplit>(patch, disturbance), step,
                                                   cv::TermCriteria(cv::TermCriteria::COUNT + cv::TermCriteria::EPS, 220, 1e-9));
    const double energy = solver->minimize(x);
    if (energy >= best_energy) continue;
    best_energy = energy;
    double la = x.at<double>(2), lb = x.at<double>(3), angle = x.at<double>(4);
    if (la < lb) std::swap(la, lb), angle += 0.5 * CV_PI;
    best = {x.at<double>(0), x.at<double>(1), std::exp(0.5 * (la + lb)), std::exp(la - lb), angle};
  }
  return best;
}

ResidualField residual_with_spots(const ResidualField& field, const BundleProblem& problem, const PanelVector& parameters,
                                  const std::vector<SpotVector>& spots, cv::Mat& explained) {
  ResidualField out = field;
  out.phase_cycles = field.phase_cycles.clone();
  out.residual = field.residual.clone();
  explained = cv::Mat::zeros(field.residual.size(), CV_32FC1);
  const PanelModel<double> model(problem.constants, parameters);
  std::vector<SpotShape<double>> shapes;
  for (const SpotVector& spot : spots) shapes.emplace_back(spot);
  for (int r = 0; r < field.grid.rows; ++r)
    for (int c = 0; c < field.grid.columns; ++c) {
      if (!field.valid.at<uchar>(r, c)) continue;
      const double x = field.grid.x_mm(c), y = field.grid.y_mm(r);
      double sx = 0, sy = 0, share = 0;
      for (std::size_t k = 0; k < spots.size(); ++k) {
        const double reach = 3 * std::exp(std::max(spots[k][s_log_a], spots[k][s_log_b]));
        if (std::abs(x - spots[k][s_x]) > reach || std::abs(y - spots[k][s_y]) > reach) continue;
        const auto value = shapes[k].at(x, y);
        sx += value.slope_x, sy += value.slope_y;
        share = std::max(share, std::abs(value.z / spots[k][s_height]));
      }
      if (share < 1e-3) continue;
      out.phase_cycles.at<float>(r, c) = static_cast<float>(model.phase(x, y, sx, sy));
      explained.at<float>(r, c) = share > 0.02 ? 1.0F : 0.0F;
      const float s = out.profile.value(out.phase_cycles.at<float>(r, c));
      const float b = std::max(out.contrast.at<float>(r, c), 0.3F * static_cast<float>(out.typical_contrast));
      out.residual.at<float>(r, c) = (out.light.at<float>(r, c) - out.level.at<float>(r, c) - b * s) / b;
    }
  return out;
}

}  // namespace ripplegauge
