// Cubic B-splines on a square grid, and their bending energy: integrals over a square of products of basis
// functions, worked out once and shifted from square to square.
#include <algorithm>
#include <array>
#include <cmath>

#include "relief/surface_fit.hpp"
#include "spline_basis.hpp"

namespace ripplegauge {
namespace {

/// Products of the four basis functions that overlap a square of the grid, integrated over its unit width
/// (exact Gauss quadrature).
template <class F>
Eigen::Matrix4d gram(const F& f) {
  constexpr double node[4] = {0.0694318442029737, 0.3300094782075719, 0.6699905217924281, 0.9305681557970263};
  constexpr double weight[4] = {0.1739274225687269, 0.3260725774312731, 0.3260725774312731,
                                0.1739274225687269};
  Eigen::Matrix4d g = Eigen::Matrix4d::Zero();
  for (int q = 0; q < 4; ++q) {
    const Four v = f(node[q]);
    const Eigen::Map<const Eigen::Vector4d> values(v.data());
    g += weight[q] * values * values.transpose();
  }
  return g;
}

}  // namespace

SplineSurface::SplineSurface(const Extent& e, double spacing_mm) : spacing_(spacing_mm) {
  const int half = static_cast<int>(std::ceil(std::max(e.semi_a_mm, e.semi_b_mm) / spacing_mm)) + 1;
  side_ = 2 * half + 1;
  x0_ = e.x_mm - half * spacing_mm, y0_ = e.y_mm - half * spacing_mm;
  column_.assign(static_cast<std::size_t>(side_) * side_, -1);
  const double c = std::cos(e.angle_rad), s = std::sin(e.angle_rad);
  for (int r = 0; r < side_; ++r)
    for (int k = 0; k < side_; ++k) {
      const double dx = x0_ + k * spacing_ - e.x_mm, dy = y0_ + r * spacing_ - e.y_mm;
      if (std::hypot((c * dx + s * dy) / e.semi_a_mm, (c * dy - s * dx) / e.semi_b_mm) <= 1)
        column_[static_cast<std::size_t>(r) * side_ + k] = active_++;
    }
}

Eigen::MatrixXd SplineSurface::bending(const std::function<double(int cell)>& weight) const {
  const Eigen::Matrix4d g0 = gram(basis) * spacing_, g1 = gram(basis_first) / spacing_,
                        g2 = gram(basis_second) / (spacing_ * spacing_ * spacing_);
  Eigen::Matrix<double, 16, 16> square;
  for (int a = 0; a < 16; ++a)
    for (int b = 0; b < 16; ++b) {
      const int ya = a / 4, xa = a % 4, yb = b / 4, xb = b % 4;
      square(a, b) = g0(ya, yb) * g2(xa, xb) + 2 * g1(ya, yb) * g1(xa, xb) + g2(ya, yb) * g0(xa, xb);
    }
  Eigen::MatrixXd energy = Eigen::MatrixXd::Zero(active_, active_);
  for (int cell = 0; cell < (side_ + 3) * (side_ + 3); ++cell) {
    const std::array<int, 16> control = controls(cell);
    const double w = weight(cell);
    for (std::size_t a = 0; a < 16; ++a)
      for (std::size_t b = 0; b < 16; ++b)
        if (control[a] >= 0 && control[b] >= 0)
          energy(control[a], control[b]) += w * square(static_cast<int>(a), static_cast<int>(b));
  }
  return energy;
}

SplineSurface::Place SplineSurface::place(double x_mm, double y_mm) const {
  const double u = (x_mm - x0_) / spacing_, v = (y_mm - y0_) / spacing_;
  const int k = static_cast<int>(std::floor(u)), r = static_cast<int>(std::floor(v));
  if (k < -2 || r < -2 || k > side_ || r > side_) return {nowhere, 0, 0};
  return {(r + 2) * (side_ + 3) + k + 2, u - k, v - r};
}

std::array<int, 16> SplineSurface::controls(int cell) const {
  std::array<int, 16> found;
  const int r0 = cell / (side_ + 3) - 3, k0 = cell % (side_ + 3) - 3;
  for (int j = 0; j < 4; ++j)
    for (int i = 0; i < 4; ++i) {
      const int r = r0 + j, k = k0 + i;
      const bool inside = r >= 0 && k >= 0 && r < side_ && k < side_;
      found[static_cast<std::size_t>(4) * j + i] =
          inside ? column_[static_cast<std::size_t>(r) * side_ + k] : nowhere;
    }
  return found;
}

Eigen::MatrixXd SplineSurface::basis_at(double origin_mm, double first_mm, double step_mm, int count) const {
  Eigen::MatrixXd at = Eigen::MatrixXd::Zero(count, side_);
  for (int i = 0; i < count; ++i) {
    const double t = (first_mm + i * step_mm - origin_mm) / spacing_;
    const double square = std::floor(t);
    const Four values = basis(t - square);
    for (int k = 0; k < 4; ++k)
      if (const double control = square + k - 1; control >= 0 && control < side_)
        at(i, static_cast<int>(control)) = values[static_cast<std::size_t>(k)];
  }
  return at;
}

void SplineSurface::add_to(Relief& map, const Eigen::VectorXd& coefficients) const {
  Eigen::MatrixXd control = Eigen::MatrixXd::Zero(side_, side_);
  for (int r = 0; r < side_; ++r)
    for (int k = 0; k < side_; ++k)
      if (const int c = column_[static_cast<std::size_t>(r) * side_ + k]; c >= 0)
        control(r, k) = coefficients[c];
  const Eigen::MatrixXd heights = basis_at(y0_, map.y0_mm, map.step_mm, map.rows) * control *
                                  basis_at(x0_, map.x0_mm, map.step_mm, map.columns).transpose();
  for (int r = 0; r < map.rows; ++r)
    for (int c = 0; c < map.columns; ++c) map.at(r, c) += static_cast<float>(heights(r, c));
}

}  // namespace ripplegauge
