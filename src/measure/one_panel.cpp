// The crown that the photos of a set tell together: their own estimates, weighed by their covariances.
#include "one_panel.hpp"

#include <Eigen/Dense>
#include <algorithm>

namespace ripplegauge {
namespace {

constexpr int crown_terms = 3;
using Crown = Eigen::Vector3d;

Eigen::Matrix3d crown_covariance(const BundleResult& bundle) {
  return bundle.covariance.block<crown_terms, crown_terms>(p_crown, p_crown);
}
Crown crown_of(const BundleResult& bundle) { return bundle.parameters.segment<crown_terms>(p_crown); }

/// A normal law.
struct Known {
  Crown value;
  Eigen::Matrix3d covariance;
};

/// The mean of what the photos tell, by their precisions. What they disagree by beyond their own
/// uncertainties widens it; and since a card that lies unevenly bends all of them alike, it is never told
/// better than by the best photo.
Known told_by_all(const std::vector<SetView>& views) {
  Eigen::Matrix3d precision = Eigen::Matrix3d::Zero();
  Crown weighted = Crown::Zero();
  const Eigen::Matrix3d* best = nullptr;
  std::vector<Eigen::Matrix3d> covariances;
  for (const SetView& view : views) covariances.push_back(crown_covariance(view.bundle));
  for (std::size_t i = 0; i < views.size(); ++i) {
    precision += covariances[i].inverse();
    weighted += covariances[i].inverse() * crown_of(views[i].bundle);
    if (best == nullptr || covariances[i].determinant() < best->determinant()) best = &covariances[i];
  }
  const Crown mean = precision.inverse() * weighted;
  double square = 0;
  for (std::size_t i = 0; i < views.size(); ++i) {
    const Crown off = crown_of(views[i].bundle) - mean;
    square += off.dot(covariances[i].inverse() * off);
  }
  const double degrees = crown_terms * (static_cast<double>(views.size()) - 1);
  return {mean, *best * std::max(1.0, square / degrees)};
}

/// By how much a photo's own covariance shrinks where all photos together know better, and nowhere grows.
/// Both are brought to diagonal form at once: what is left is then a covariance again, whichever way they
/// lie.
Eigen::Matrix3d gained(const Eigen::Matrix3d& own, const Eigen::Matrix3d& together) {
  const Eigen::GeneralizedSelfAdjointEigenSolver<Eigen::Matrix3d> both(together, own);
  const Eigen::Matrix3d ways = own * both.eigenvectors();
  const Crown less = (1 - both.eigenvalues().array()).max(0).matrix();
  return ways * less.asDiagonal() * ways.transpose();
}

}  // namespace

void agree_on_panel(std::vector<SetView>& views) {
  if (views.size() < 2) return;
  const Known crown = told_by_all(views);
  for (SetView& view : views) {
    BundleResult& bundle = view.bundle;
    const Eigen::Matrix3d own = crown_covariance(bundle);
    const Eigen::Matrix<double, panel_parameters, crown_terms> by =
        bundle.covariance.middleCols<crown_terms>(p_crown) * own.inverse();
    bundle.parameters += by * (crown.value - crown_of(bundle));
    bundle.covariance -= by * gained(own, crown.covariance) * by.transpose();
    view.scene.parameters = bundle.parameters;
  }
}

}  // namespace ripplegauge
