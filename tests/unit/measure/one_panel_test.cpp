// The crown that the photos of a set tell together.
#include "measure/one_panel.hpp"

#include <Eigen/Dense>
#include <vector>

#include "catch.hpp"

using namespace ripplegauge;

namespace {

/// A photo that knows the panel's curvature well in one direction and badly in another.
SetView view(double well, double badly, double turn_rad, double crown_per_mm) {
  SetView v;
  v.bundle.covariance.setIdentity();
  Eigen::Matrix3d turn = Eigen::AngleAxisd(turn_rad, Eigen::Vector3d(1, 2, 3).normalized()).matrix();
  v.bundle.covariance.block<3, 3>(p_crown, p_crown) =
      turn * Eigen::Vector3d(well * well, badly * badly, badly * badly).asDiagonal() * turn.transpose();
  v.bundle.parameters[p_crown] = crown_per_mm;
  return v;
}

double least_eigenvalue(const Eigen::MatrixXd& m) {
  return Eigen::SelfAdjointEigenSolver<Eigen::MatrixXd>(m).eigenvalues()[0];
}

}  // namespace

TEST_CASE("what photos know of the crown together is a covariance, and none knows less than before",
          "[together][one_panel]") {
  // Each knows another direction well: no covariance is smaller than another in every direction.
  std::vector<SetView> views{view(1e-6, 1e-3, 0, 1e-4), view(1e-5, 3e-4, 1, 1.2e-4),
                             view(1e-6, 1e-3, 2, 0.9e-4)};
  const std::vector<SetView> before = views;
  agree_on_panel(views);
  for (std::size_t i = 0; i < views.size(); ++i) {
    const Eigen::MatrixXd now = views[i].bundle.covariance, then = before[i].bundle.covariance;
    constexpr double rounding = 1e-18;
    CHECK(least_eigenvalue(now.block<3, 3>(p_crown, p_crown)) > 0);
    CHECK(least_eigenvalue(then - now) > -rounding);
    CHECK((then - now).norm() > 0);
  }
}
