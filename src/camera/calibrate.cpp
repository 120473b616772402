// One lens from several photos. It picks the photos that belong together, fits lens and poses in one bundle,
// drops what does not fit, then leaves out each photo in turn to see how far the lens depends on it.
#include "camera/calibrate.hpp"

#include <algorithm>
#include <cmath>
#include <limits>
#include <map>
#include <numbers>

#include "core/quantile.hpp"
#include "ripplegauge/image/photo.hpp"
#include "target_bundle.hpp"

namespace ripplegauge {
namespace {

double rms_distance(const std::vector<double>& errors) {
  double sum = 0;
  for (const double e : errors) sum += e * e;
  return errors.empty() ? 0 : std::sqrt(2 * sum / static_cast<double>(errors.size()));
}

/// One lens, one size: what photos must share.
using Group = std::tuple<int, int, double>;
Group group_of(const CameraShot& shot) {
  return {shot.stored_size.width, shot.stored_size.height, shot.focal_35mm_mm.value_or(0)};
}

/// The shots that show something, are of the largest group, and stand there once; the others go to `unused`.
std::vector<std::size_t> usable(const std::vector<CameraShot>& shots, CameraCalibration& calibration) {
  std::map<Group, int> sizes;
  for (const CameraShot& shot : shots)
    if (!shot.view.points.empty()) ++sizes[group_of(shot)];
  const auto largest = std::max_element(sizes.begin(), sizes.end(),
                                        [](const auto& a, const auto& b) { return a.second < b.second; });
  std::map<std::string, std::size_t> seen;
  std::vector<std::size_t> used;
  for (std::size_t i = 0; i < shots.size(); ++i) {
    const CameraShot& shot = shots[i];
    std::string reason;
    if (shot.view.points.empty())
      reason = shot.view.problem;
    else if (group_of(shot) != largest->first)
      reason = shot.stored_size != cv::Size(std::get<0>(largest->first), std::get<1>(largest->first))
                   ? "it has another size than most of the photos"
                   : "it was taken with another focal length than most of the photos";
    else if (const auto [first, is_new] = seen.try_emplace(shot.sha256, i); !shot.sha256.empty() && !is_new)
      reason = "it is the same photo as " + shots[first->second].name;
    if (reason.empty())
      used.push_back(i);
    else
      calibration.unused.push_back({i, reason});
  }
  if (largest != sizes.end()) {
    calibration.stored_size = {std::get<0>(largest->first), std::get<1>(largest->first)};
    if (std::get<2>(largest->first) > 0) calibration.focal_35mm_mm = std::get<2>(largest->first);
  }
  return used;
}

SharedVector sigmas(const CalibrationPriors& priors, const CalibrationTarget& target, const cv::Size& size) {
  SharedVector s;
  s[c_log_focal] = 1.5;  // from a fisheye to a telephoto: nothing is known
  s[c_centre] = s[c_centre + 1] = priors.centre_share * std::hypot(size.width, size.height);
  s[c_k1] = priors.k1, s[c_k2] = priors.k2;
  s[c_ink] = priors.ink_mm, s[c_stretch] = priors.stretch;
  const double bend = 2 * priors.bow_mm / (target.half_size_mm * target.half_size_mm);
  s[c_crown] = s[c_crown + 1] = bend;
  s[c_crown + 2] = 0.5 * bend;
  return s;
}

TargetBundle without(const TargetBundle& bundle, std::size_t photo) {
  TargetBundle rest = bundle;
  rest.views.erase(rest.views.begin() + static_cast<std::ptrdiff_t>(photo));
  return rest;
}

BundleState without(const BundleState& state, std::size_t photo) {
  BundleState rest = state;
  rest.poses.erase(rest.poses.begin() + static_cast<std::ptrdiff_t>(photo));
  return rest;
}

/// Tries focal lengths of phones from wide to long until one fits, then improves it. A poor focal length
/// makes wrong ones of two nearly equal poses win, so poses are chosen anew with the better lens.
BundleState solve(TargetBundle& bundle, std::optional<double> focal_35mm_mm, const cv::Size& size) {
  std::vector<double> candidates = {13, 18, 26, 38, 55, 80};
  if (focal_35mm_mm) candidates = {*focal_35mm_mm};
  BundleState best;
  double least = std::numeric_limits<double>::infinity();
  bundle.corner_noise_px = 1;
  for (const double focal : candidates) {
    TargetBundle trial = bundle;
    trial.nominal.focal_px = focal_px_from_35mm(focal, size.width, size.height);
    BundleState state{SharedVector::Zero(), poses_from(trial, SharedVector::Zero())};
    double cost = 0;
    for (std::size_t p = 0; p < trial.views.size(); ++p)
      cost += rms_distance(errors_of(trial, state.shared, state.poses[p], *trial.views[p]));
    if (!(cost < least)) continue;
    least = cost;
    best = state;
    bundle.nominal = trial.nominal;
  }
  for (int round = 0; round < 2; ++round) {
    fit(bundle, best);
    best.poses = poses_from(bundle, best.shared);
  }
  return best;
}

/// Corner noise as the residuals show it, free of outliers; a parameter fitted takes one residual away.
double noise_of(const TargetBundle& bundle, const BundleState& state) {
  std::vector<double> all;
  for (std::size_t p = 0; p < bundle.views.size(); ++p)
    for (const double e : errors_of(bundle, state.shared, state.poses[p], *bundle.views[p]))
      all.push_back(std::abs(e));
  const double residuals = static_cast<double>(all.size());
  const auto unknowns = static_cast<double>(shared_parameters + pose_parameters * bundle.views.size());
  constexpr double least_px = 0.01;  // 8-bit pictures show no corner better
  return std::max(least_px, 1.4826 * median_of(all) *
                                std::sqrt(residuals / std::max(residuals - unknowns, 0.25 * residuals)));
}

/// The photo that fits far worse than the others, if one does: blurred, or its target bent or moved.
std::optional<std::size_t> misfit(const TargetBundle& bundle, const BundleState& state) {
  std::vector<double> rms;
  for (std::size_t p = 0; p < bundle.views.size(); ++p)
    rms.push_back(rms_distance(errors_of(bundle, state.shared, state.poses[p], *bundle.views[p])));
  const auto worst = std::max_element(rms.begin(), rms.end());
  const auto index = static_cast<std::size_t>(worst - rms.begin());
  const double value = *worst;
  constexpr double far_off = 4, tolerable_px = 0.5;
  return value > std::max(far_off * median_of(rms), tolerable_px) ? std::optional(index) : std::nullopt;
}

/// Leaves each photo out in turn: its error with the others' lens, and how far that lens moves (the
/// jackknife: Efron, The Jackknife, the Bootstrap and Other Resampling Plans, 1982, ch. 3) against how far
/// corner noise alone would move it: by the covariance without the photo less the one with it.
void cross_validate(const TargetBundle& bundle, const BundleState& state, CameraCalibration& calibration) {
  using LensVector = Eigen::Matrix<double, lens_parameters, 1>;
  using LensMatrix = Eigen::Matrix<double, lens_parameters, lens_parameters>;
  const std::size_t n = bundle.views.size();
  const auto of_lens = [](const SharedCovariance& c) {
    return LensMatrix(c.topLeftCorner<lens_parameters, lens_parameters>());
  };
  const LensMatrix with_all = of_lens(calibration.covariance);
  LensMatrix moved = LensMatrix::Zero(), expected = LensMatrix::Zero();
  double sum = 0, corners = 0;
  for (std::size_t p = 0; p < n; ++p) {
    const TargetBundle rest = without(bundle, p);
    BundleState others = without(state, p);
    SharedCovariance covariance;
    fit(rest, others, &covariance);
    const LensVector step = (others.shared - state.shared).head<lens_parameters>();
    moved += step * step.transpose();
    expected += of_lens(covariance) - with_all;
    const TargetPose pose = fit_pose(rest, others.shared, *bundle.views[p], state.poses[p]);
    const double rms = rms_distance(errors_of(rest, others.shared, pose, *bundle.views[p]));
    calibration.photos[p].held_out_rms_px = rms;
    const double weight = static_cast<double>(bundle.views[p]->points.size());
    sum += weight * rms * rms, corners += weight;
  }
  calibration.held_out_rms_px = std::sqrt(sum / corners);
  const double ratio = with_all.ldlt().solve(moved).trace() / with_all.ldlt().solve(expected).trace();
  calibration.disagreement = std::sqrt(std::max(1.0, ratio));
  calibration.covariance *= calibration.disagreement * calibration.disagreement;
}

}  // namespace

double TargetPose::tilt_deg() const {
  const double cosine = rotation.col(2).dot(translation_mm) / translation_mm.norm();
  return std::acos(std::clamp(std::abs(cosine), 0.0, 1.0)) * 180 / std::numbers::pi;
}

LensUncertainty CameraCalibration::uncertainty() const {
  const auto u = [&](int i) { return std::sqrt(std::max(0.0, covariance(i, i))); };
  return {u(c_log_focal), u(c_centre), u(c_centre + 1), u(c_k1), u(c_k2)};
}

CameraCalibration calibrate_camera(const CalibrationTarget& target, const std::vector<CameraShot>& shots,
                                   const CalibrationOptions& options) {
  CameraCalibration calibration;
  std::vector<std::size_t> used = usable(shots, calibration);
  if (used.size() < options.fewest_photos) return calibration;
  const cv::Size size = calibration.stored_size;
  TargetBundle bundle;
  bundle.target = &target;
  for (const std::size_t i : used) bundle.views.push_back(&shots[i].view);
  bundle.nominal = {0, 0.5 * (size.width - 1), 0.5 * (size.height - 1)};
  bundle.prior_sigma = sigmas(options.priors, target, size);
  BundleState state = solve(bundle, calibration.focal_35mm_mm, size);
  while (const auto worst = misfit(bundle, state)) {
    calibration.unused.push_back(
        {used[*worst], "its corners do not fit the other photos: blurred, or the target bent"});
    used.erase(used.begin() + static_cast<std::ptrdiff_t>(*worst));
    bundle = without(bundle, *worst);
    state = without(state, *worst);
    if (used.size() < options.fewest_photos) return calibration;
    fit(bundle, state);
  }
  for (int round = 0; round < 2; ++round) {
    bundle.corner_noise_px = noise_of(bundle, state);
    fit(bundle, state, &calibration.covariance);
  }

  calibration.solved = true;
  calibration.lens = lens_of(bundle.nominal, state.shared);
  calibration.corner_noise_px = bundle.corner_noise_px;
  double sum = 0, count = 0;
  for (std::size_t p = 0; p < used.size(); ++p) {
    const std::vector<double> errors = errors_of(bundle, state.shared, state.poses[p], *bundle.views[p]);
    const double rms = rms_distance(errors), weight = static_cast<double>(errors.size());
    calibration.photos.push_back({used[p], state.poses[p], rms, 0});
    sum += weight * rms * rms, count += weight;
  }
  calibration.rms_px = std::sqrt(sum / count);
  cross_validate(bundle, state, calibration);
  return calibration;
}

}  // namespace ripplegauge
