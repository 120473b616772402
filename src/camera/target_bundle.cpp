// Projection of target points, written once for numbers and for duals, and the bundle's normal equations:
// shared lens and target first, then one pose a photo, each eliminated by itself.
#include "target_bundle.hpp"

#include <cmath>
#include <opencv2/calib3d.hpp>

#include "core/least_squares.hpp"

namespace ripplegauge {
namespace {

/// Where the influence of an outlier begins to fall, in standard deviations: 95 % efficient on Gaussian
/// errors (Huber & Ronchetti, Robust Statistics, 2009).
constexpr double cauchy_scale = 2.385;

Eigen::Matrix3d turn_by(const Eigen::Vector3d& gibbs) {
  return Eigen::Quaterniond(1, 0.5 * gibbs.x(), 0.5 * gibbs.y(), 0.5 * gibbs.z())
      .normalized()
      .toRotationMatrix();
}

TargetPose moved(const TargetPose& pose, const Eigen::Ref<const Eigen::VectorXd>& step) {
  return {turn_by(step.head<3>()) * pose.rotation, pose.translation_mm + step.tail<3>()};
}

TargetPose pose_from(const cv::Mat& rotation_vector, const cv::Mat& translation) {
  cv::Mat r;
  cv::Rodrigues(rotation_vector, r);
  TargetPose pose;
  for (int row = 0; row < 3; ++row) {
    for (int column = 0; column < 3; ++column) pose.rotation(row, column) = r.at<double>(row, column);
    pose.translation_mm[row] = translation.at<double>(row);
  }
  return pose;
}

double cost_of(const TargetBundle& bundle, const SharedVector& shared, const TargetPose& pose,
               const TargetView& view) {
  double cost = 0;
  for (const double e : errors_of(bundle, shared, pose, view))
    cost += cauchy_scale * cauchy_scale * cauchy_cost(e / (cauchy_scale * bundle.corner_noise_px));
  return cost;
}

/// Adds a view's normal equations: shared parameters at 0, its pose at `pose_at`. `shared_free` false: the
/// pose alone.
void add_view(const TargetBundle& bundle, const SharedVector& shared, const TargetPose& pose,
              const TargetView& view, int pose_at, bool shared_free, NormalEquations& out) {
  Eigen::Matrix<double, photo_unknowns, photo_unknowns> hessian;
  Eigen::Matrix<double, photo_unknowns, 1> gradient;
  hessian.setZero(), gradient.setZero();
  for (std::size_t i = 0; i < view.points.size(); ++i) {
    const ProjectedPoint p = project(bundle.nominal, shared, pose, bundle.target->points[view.points[i]]);
    const double error[2] = {p.pixel.x - view.pixels[i].x, p.pixel.y - view.pixels[i].y};
    for (int k = 0; k < 2; ++k) {
      const double r = error[k] / bundle.corner_noise_px, scaled = r / cauchy_scale;
      const double weight = cauchy_weight(scaled);
      out.cost += cauchy_scale * cauchy_scale * cauchy_cost(scaled);
      const Eigen::Matrix<double, photo_unknowns, 1> j =
          p.jacobian.row(k).transpose() / bundle.corner_noise_px;
      gradient += weight * r * j;
      hessian.noalias() += weight * j * j.transpose();
    }
  }
  out.gradient.segment(pose_at, pose_parameters) += gradient.tail<pose_parameters>();
  out.hessian.block(pose_at, pose_at, pose_parameters, pose_parameters) +=
      hessian.bottomRightCorner<pose_parameters, pose_parameters>();
  if (!shared_free) return;
  out.gradient.head(shared_parameters) += gradient.head<shared_parameters>();
  out.hessian.topLeftCorner(shared_parameters, shared_parameters) +=
      hessian.topLeftCorner<shared_parameters, shared_parameters>();
  out.hessian.block(0, pose_at, shared_parameters, pose_parameters) +=
      hessian.topRightCorner<shared_parameters, pose_parameters>();
  out.hessian.block(pose_at, 0, pose_parameters, shared_parameters) +=
      hessian.bottomLeftCorner<pose_parameters, shared_parameters>();
}

}  // namespace

ProjectedPoint project(const NominalLens& nominal, const SharedVector& shared, const TargetPose& pose,
                       const TargetPoint& point) {
  const auto s = [&](int index) { return PhotoDual::variable(shared[index], index); };
  const auto step = [](int index) { return PhotoDual::variable(0.0, shared_parameters + index); };
  // On the target: ink, stretch, bow.
  const PhotoDual x = point.x_mm + point.ink_x * s(c_ink);
  const PhotoDual y = (point.y_mm + point.ink_y * s(c_ink)) * (1.0 + s(c_stretch));
  const PhotoDual z = -0.5 * (s(c_crown) * x * x + 2.0 * (s(c_crown + 2) * x * y) + s(c_crown + 1) * y * y);
  // Before the camera: the base pose, then a turn that is small (to first order the Gibbs vector's).
  const Eigen::Matrix3d& r = pose.rotation;
  const PhotoDual bx = r(0, 0) * x + r(0, 1) * y + r(0, 2) * z;
  const PhotoDual by = r(1, 0) * x + r(1, 1) * y + r(1, 2) * z;
  const PhotoDual bz = r(2, 0) * x + r(2, 1) * y + r(2, 2) * z;
  const PhotoDual cx = bx + step(1) * bz - step(2) * by + (pose.translation_mm.x() + step(3));
  const PhotoDual cy = by + step(2) * bx - step(0) * bz + (pose.translation_mm.y() + step(4));
  const PhotoDual cz = bz + step(0) * by - step(1) * bx + (pose.translation_mm.z() + step(5));
  // Through the lens.
  const PhotoDual a = cx / cz, b = cy / cz, r2 = a * a + b * b;
  const PhotoDual d = nominal.focal_px * exp(s(c_log_focal)) * (1.0 + r2 * (s(c_k1) + r2 * s(c_k2)));
  const PhotoDual u = d * a + (nominal.centre_u_px + s(c_centre)),
                  v = d * b + (nominal.centre_v_px + s(c_centre + 1));
  ProjectedPoint out;
  out.pixel = {u.value, v.value};
  out.jacobian.row(0) = u.gradient.transpose();
  out.jacobian.row(1) = v.gradient.transpose();
  return out;
}

std::vector<double> errors_of(const TargetBundle& bundle, const SharedVector& shared, const TargetPose& pose,
                              const TargetView& view) {
  std::vector<double> errors;
  for (std::size_t i = 0; i < view.points.size(); ++i) {
    const cv::Point2d p = project(bundle.nominal, shared, pose, bundle.target->points[view.points[i]]).pixel;
    errors.push_back(view.pixels[i].x - p.x);
    errors.push_back(view.pixels[i].y - p.y);
  }
  return errors;
}

Lens lens_of(const NominalLens& nominal, const SharedVector& shared) {
  return {nominal.focal_px * std::exp(shared[c_log_focal]), nominal.centre_u_px + shared[c_centre],
          nominal.centre_v_px + shared[c_centre + 1], shared[c_k1], shared[c_k2]};
}

std::vector<TargetPose> poses_from(const TargetBundle& bundle, const SharedVector& shared) {
  const Lens lens = lens_of(bundle.nominal, shared);
  const cv::Matx33d k(lens.focal_px, 0, lens.centre_u_px, 0, lens.focal_px, lens.centre_v_px, 0, 0, 1);
  const cv::Vec4d distortion(lens.k1, lens.k2, 0, 0);
  std::vector<TargetPose> poses;
  for (const TargetView* view : bundle.views) {
    std::vector<cv::Point3d> object;
    for (const std::size_t i : view->points)
      object.emplace_back(bundle.target->points[i].x_mm, bundle.target->points[i].y_mm, 0);
    std::vector<cv::Mat> rotations, translations;
    cv::solvePnPGeneric(object, view->pixels, k, distortion, rotations, translations, false,
                        cv::SOLVEPNP_IPPE);
    TargetPose best;
    double least = -1;
    for (std::size_t i = 0; i < rotations.size(); ++i) {
      const TargetPose pose = fit_pose(bundle, shared, *view, pose_from(rotations[i], translations[i]));
      const double cost = cost_of(bundle, shared, pose, *view);
      if (least < 0 || cost < least) least = cost, best = pose;
    }
    poses.push_back(best);
  }
  return poses;
}

TargetPose fit_pose(const TargetBundle& bundle, const SharedVector& shared, const TargetView& view,
                    const TargetPose& start) {
  // The base moves along with the solution: one minimisation a turn, each around a base where the turn is
  // small.
  TargetPose pose = start;
  for (int round = 0; round < 3; ++round) {
    Eigen::VectorXd step = Eigen::VectorXd::Zero(pose_parameters);
    minimise(
        [&](const Eigen::VectorXd& x, bool with_derivatives, NormalEquations& out) {
          const TargetPose at = moved(pose, x);
          if (with_derivatives)
            add_view(bundle, shared, at, view, 0, false, out);
          else
            out.cost = cost_of(bundle, shared, at, view);
        },
        step, {.max_iterations = 10});
    pose = moved(pose, step);
  }
  return pose;
}

void fit(const TargetBundle& bundle, BundleState& state, SharedCovariance* covariance) {
  const int n = shared_parameters + pose_parameters * static_cast<int>(bundle.views.size());
  const auto at = [](std::size_t photo) {
    return shared_parameters + pose_parameters * static_cast<int>(photo);
  };
  Eigen::MatrixXd hessian;
  const auto equations = [&](const Eigen::VectorXd& x, bool with_derivatives, NormalEquations& out) {
    const SharedVector shared = x.head<shared_parameters>();
    for (int i = 0; i < shared_parameters; ++i) {
      if (with_derivatives)
        out.add_prior(i, shared[i], 0.0, bundle.prior_sigma[i]);
      else
        out.cost += 0.5 * std::pow(shared[i] / bundle.prior_sigma[i], 2);
    }
    for (std::size_t p = 0; p < bundle.views.size(); ++p) {
      const TargetPose pose = moved(state.poses[p], x.segment(at(p), pose_parameters));
      if (with_derivatives)
        add_view(bundle, shared, pose, *bundle.views[p], at(p), true, out);
      else
        out.cost += cost_of(bundle, shared, pose, *bundle.views[p]);
    }
  };
  for (int round = 0; round < 3; ++round) {
    Eigen::VectorXd x = Eigen::VectorXd::Zero(n);
    x.head<shared_parameters>() = state.shared;
    minimise(equations, x, {.max_iterations = 20, .relative_cost_tolerance = 1e-9}, &hessian);
    state.shared = x.head<shared_parameters>();
    for (std::size_t p = 0; p < bundle.views.size(); ++p)
      state.poses[p] = moved(state.poses[p], x.segment(at(p), pose_parameters));
  }
  if (covariance != nullptr)
    *covariance = hessian.ldlt()
                      .solve(Eigen::MatrixXd::Identity(n, n))
                      .topLeftCorner<shared_parameters, shared_parameters>();
}

}  // namespace ripplegauge
