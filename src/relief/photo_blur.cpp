// Tags have the sharpest edges that are known: how wide they look is the photo's blur. It changes with depth
// as a lens out of focus makes it.
#include "relief/photo_blur.hpp"

#include <Eigen/Dense>
#include <algorithm>
#include <cmath>

namespace ripplegauge {
namespace {

Eigen::Vector2d variances_px2(const SeenTag& tag) {
  return {std::pow(tag.edge_width_px / edge_width_per_sigma, 2), tag.edge_variance_px2};
}

PhotoBlur blur_of(const Eigen::Vector2d& variances_px2) {
  return {std::max(variances_px2[0], pixel_square_px2), std::max(variances_px2[1], 0.0)};
}

}  // namespace

PhotoBlur mean_blur(const std::vector<SeenTag>& tags) {
  Eigen::Vector2d sum = Eigen::Vector2d::Zero();
  for (const SeenTag& tag : tags) sum += variances_px2(tag) / static_cast<double>(tags.size());
  return blur_of(sum);
}

PhotoBlur blur_at(const std::vector<SeenTag>& tags, const PanelModel<double>& model, double x_mm,
                  double y_mm) {
  const auto count = static_cast<Eigen::Index>(tags.size());
  if (count == 0) return {};
  Eigen::VectorXd depth(count + 1);  // of the tags' middles and, last, of the place: inverse
  Eigen::MatrixX2d seen(count, 2);
  for (Eigen::Index i = 0; i < count; ++i) {
    const SeenTag& tag = tags[static_cast<std::size_t>(i)];
    cv::Point2d middle;
    for (const cv::Point2d& corner : tag.corners_px) middle += 0.25 * corner;
    const auto p = model.panel_from_pixel(middle.x, middle.y);
    depth[i] = 1 / model.depth_mm(p.x_mm, p.y_mm);
    seen.row(i) = variances_px2(tag);
  }
  depth[count] = 1 / model.depth_mm(x_mm, y_mm);
  // Depths from -1 to 1, and a parabola whose coefficients are expected to be no more than the blur itself.
  const double middle = 0.5 * (depth.maxCoeff() + depth.minCoeff());
  const Eigen::VectorXd t = (depth.array() - middle) / std::max(depth.maxCoeff() - middle, 1e-12);
  Eigen::MatrixX3d terms(count + 1, 3);
  terms << Eigen::VectorXd::Ones(count + 1), t, t.cwiseAbs2();
  const Eigen::RowVector2d mean = seen.colwise().mean();
  constexpr double scatter = 0.15;  // of what one tag shows, over the blur
  const Eigen::Vector3d ridge(0, scatter * scatter, scatter * scatter);
  const Eigen::MatrixX3d known = terms.topRows(count);
  const Eigen::Matrix3d normal = known.transpose() * known + Eigen::Matrix3d(ridge.asDiagonal());
  const Eigen::Matrix<double, 3, 2> fit = normal.ldlt().solve(known.transpose() * (seen.rowwise() - mean));
  return blur_of((mean + terms.row(count) * fit).transpose());
}

}  // namespace ripplegauge
