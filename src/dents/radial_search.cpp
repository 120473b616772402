#include "radial_search.hpp"

#include <cmath>
#include <limits>

namespace ripplegauge {

/// A round spot of height 1, tabulated over its radius.
class RadialSearch::UnitSpot {
 public:
  UnitSpot(double radius, double power, double order) {
    const double rim = 1 - std::pow(0.1, 1 / order);
    for (int i = 0; i < size + 2; ++i) {
      const double rho = reach * i / size, rest = 1 - rim * std::pow(rho, power);
      if (rest <= 0) break;
      const auto at = static_cast<std::size_t>(i);
      height_[at] = static_cast<float>(std::pow(rest, order));
      slope_[at] = static_cast<float>(-order * power * rim * std::pow(rho, power - 1) * std::pow(rest, order - 1) / radius);
      steepest_ = std::max(steepest_, -slope_[at]);
    }
    scale_ = static_cast<float>(size / reach / radius);
  }

  float steepest() const { return steepest_; }
  float height(float radius) const {
    const float at = radius * scale_;
    return at < size ? height_[static_cast<std::size_t>(at)] : 0.0F;
  }
  /// Derivative by the radius, and its derivative.
  void slope_and_bend(float radius, float& slope, float& bend) const {
    const float at = radius * scale_;
    if (!(at < size)) {
      slope = bend = 0;
      return;
    }
    const auto i = static_cast<std::size_t>(at);
    const float step = slope_[i + 1] - slope_[i];
    slope = slope_[i] + (at - static_cast<float>(i)) * step;
    bend = step * scale_;
  }

 private:
  static constexpr int size = 512;
  static constexpr double reach = 4;  // in units of the 10 % radius
  std::array<float, size + 2> height_{}, slope_{};
  float steepest_ = 1e-9F, scale_ = 0;
};

RadialSearch::RadialSearch(const Patch& patch, const std::vector<int>& pixels, const Outline& outline)
    : patch_(patch), outline_(outline) {
  const auto n = static_cast<Eigen::Index>(pixels.size());
  pixel_.reserve(pixels.size());
  light_.resize(n), weight_.resize(n), least_.resize(n);
  Eigen::MatrixXf level(n, LightModel::level_terms);
  const double c = std::cos(outline.angle_rad), s = std::sin(outline.angle_rad), e = std::sqrt(outline.elongation);
  for (Eigen::Index k = 0; k < n; ++k) {
    const auto i = static_cast<std::size_t>(pixels[static_cast<std::size_t>(k)]);
    const MirrorPixel& m = patch.pixel[i];
    const double dx = m.x_mm - outline.x_mm, dy = m.y_mm - outline.y_mm;
    const double u = (c * dx + s * dy) / e, v = (c * dy - s * dx) * e, r = std::hypot(u, v) + 1e-9;
    const double gx = (c * u / e - s * v * e) / r, gy = (s * u / e + c * v * e) / r;
    constexpr double h = 0.02;
    const auto at = [&](double slope) {
      return patch.board.phase(m, patch.base_z[i], patch.base_slope_x[i] + slope * gx, patch.base_slope_y[i] + slope * gy);
    };
    const PhaseAt p0 = at(0);
    const double p1 = at(h).phase, p2 = at(-h).phase, along = p0.by_slope_x * gx + p0.by_slope_y * gy;
    const auto f = [](double value) { return static_cast<float>(value); };
    pixel_.push_back({f(r), f(gx * (m.shifted_x(1) - m.x_mm) + gy * (m.shifted_y(1) - m.y_mm)), f(p0.phase),
                      f((p1 - p2) / (2 * h)), f((p1 + p2 - 2 * p0.phase) / (2 * h * h)), m.phase_x, m.phase_y, f(gx), f(gy),
                      f((p0.by_slope_x - along * gx) / r), f((p0.by_slope_y - along * gy) / r),
                      patch.learnt_blur.exponent(m.phase_x, m.phase_y)});
    largest_parallax_ = std::max(largest_parallax_, static_cast<double>(std::abs(pixel_.back().parallax)));
    weight_[k] = patch.whitening[i] / f(patch.contrast);
    least_[k] = patch.clipped[i] ? 0.0F : -std::numeric_limits<float>::infinity();
    const float x = f(patch.xn(i)), y = f(patch.yn(i));
    level.row(k) << 1, x, y, x * x, x * y, y * y;
    light_[k] = patch.light[i];
  }
  basis_ = Eigen::HouseholderQR<Eigen::MatrixXf>(level).householderQ() * Eigen::MatrixXf::Identity(n, LightModel::level_terms);
  light_ -= basis_ * (basis_.transpose() * light_);
}

/// dz/dradius of the unit spot and its radial derivative, at every pixel. A spot of height `height` is hit a little off
/// where the smooth panel would be: the ray goes on, or stops short.
void RadialSearch::unit_slopes(const UnitSpot& unit, float height, std::vector<float>& slope, std::vector<float>& bend) const {
  for (std::size_t k = 0; k < slope.size(); ++k) {
    float radius = pixel_[k].radius;
    if (height != 0) radius += height * unit.height(radius) * pixel_[k].parallax;
    unit.slope_and_bend(std::abs(radius), slope[k], bend[k]);
  }
}

/// The stripe profile at every pixel, the blur of crowded stripes included.
void RadialSearch::predict(float height, const std::vector<float>& slope, const std::vector<float>& bend,
                           Eigen::VectorXf& profile) const {
  for (std::size_t k = 0; k < pixel_.size(); ++k) {
    const Pixel& p = pixel_[k];
    const float z = height * slope[k], b = height * bend[k] * p.gain;
    const float gx = p.phase_x + b * p.radial_x + z * p.across_x, gy = p.phase_y + b * p.radial_y + z * p.across_y;
    profile[static_cast<Eigen::Index>(k)] =
        patch_.profile->rough_value(p.phase + z * (p.gain + z * p.gain2), patch_.blur.exponent(gx, gy) - p.learnt_blur);
  }
}

double RadialSearch::cost_of(const Eigen::VectorXf& profile, Eigen::VectorXf& rest) const {
  constexpr float scale = 4;  // of the pseudo-Huber cost
  const Eigen::Matrix<float, LightModel::level_terms, 1> projected = basis_.transpose() * profile;
  const float contrast = profile.dot(light_) / std::max(profile.squaredNorm() - projected.squaredNorm(), 1e-6F);
  if (!(contrast > 0.3F * static_cast<float>(patch_.contrast))) return 1e9;  // light stripes do not turn dark inside a dent
  rest = light_ - contrast * profile;
  rest.noalias() += basis_ * (contrast * projected);
  const auto r = (rest.array() * weight_.array()).max(least_);
  return static_cast<double>(((1.0F + r.square() / (scale * scale)).sqrt() - 1.0F).sum() * scale * scale);
}

void RadialSearch::run(const std::vector<double>& radii, const std::vector<std::array<double, 2>>& shapes,
                       const std::vector<double>& displacements, std::vector<Start>& starts) const {
  constexpr double max_slope = 0.25;
  constexpr double no_parallax = 0.02;  // of the radius: less moves no fringe by more than a tenth
  std::vector<float> slope(pixel_.size()), bend(pixel_.size());
  Eigen::VectorXf profile(light_.size()), rest(light_.size());
  const double half = 0.5 * std::log(outline_.elongation);
  for (const double radius : radii)
    for (const auto& [power, order] : shapes) {
      const UnitSpot unit(radius, power, order);
      unit_slopes(unit, 0, slope, bend);
      for (const double displacement : displacements) {
        const double height = displacement / patch_.gain / unit.steepest();
        if (unit.steepest() * height > max_slope) break;
        const bool deep = height * largest_parallax_ > no_parallax * radius;
        for (const double sign : {-1.0, 1.0}) {
          const float h = static_cast<float>(sign * height);
          if (deep) unit_slopes(unit, h, slope, bend);
          predict(h, slope, bend, profile);
          const double cost = cost_of(profile, rest);
          if (cost >= 1e9) continue;
          SpotVector spot;
          spot << outline_.x_mm, outline_.y_mm, std::log(radius) + half, std::log(radius) - half, outline_.angle_rad, h,
              std::log(power), std::log(order), 0, 0;
          starts.push_back({cost, spot});
        }
      }
    }
}

}  // namespace ripplegauge
